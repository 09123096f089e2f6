// Package inspection gathers what is known of one compressor for the person who
// opens it: exposure, episodes, oil, doubts, and what each finding would show
// inside a machine of this kind. It gives no verdict.
//
// It reads events and totals as the journal and the ledger hold them, and the
// results of recordings. It may import alert, analyze and commissioning (for
// traces and units). It must never open a file or ask a clock: the same
// inputs give the same report.
package inspection

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/commissioning"
)

// Format names the form of the report's JSON.
const Format = "dewgap inspection 1"

// Input is all that a report is made from.
type Input struct {
	Site              analyze.Site
	Group, Compressor string
	Since             time.Time // zero: all that is kept
	View              commissioning.View
	Events            []alert.Event // of the whole site, in order of opening
	// Totals is the compressor's exposure as the ledger holds it, up to TotalsAt;
	// nil where there is no ledger.
	Totals   *alert.Totals
	TotalsAt time.Time
	// Replayed reports that there is no journal: Events and Totals are what the
	// recordings show.
	Replayed bool
	Observed *Observed // what recordings showed; nil where there are none
	Remarks  []string  // what the caller could not read, for people
}

// Report is what is known of one compressor.
type Report struct {
	Format      string     `json:"format"`
	Dewgap      string     `json:"dewgap"`
	Site        string     `json:"site"`
	Group       string     `json:"group"`
	Compressor  string     `json:"compressor"`
	Kind        string     `json:"kind"` // as the configuration writes it; empty where not stated
	Refrigerant string     `json:"refrigerant"`
	Since       *time.Time `json:"since"` // as asked for; null: all that is kept
	// Ledger is the exposure since its own beginning, whatever Since is; null where
	// there is none.
	Ledger   *alert.Totals `json:"ledger"`
	LedgerAt *time.Time    `json:"ledger_at"`
	// Replayed reports that there was no journal: events and totals are those of a
	// replay of the recordings.
	Replayed bool `json:"replayed"`
	// Recorded is what the recordings cover; null where there are none.
	Recorded *Recorded `json:"recorded"`
	// Exposure sums the floodback events listed here. The parts below add up to it.
	Exposure   Part    `json:"exposure"`
	BySeverity []Part  `json:"by_severity"`
	ByPhase    []Part  `json:"by_phase"` // phase at opening
	Months     []Month `json:"months"`   // UTC, of the beginning of an event

	Floodbacks    []alert.Event `json:"floodbacks"`
	FloodedStarts []alert.Event `json:"flooded_starts"`
	HighSuperheat []alert.Event `json:"high_superheat"`
	Hunting       []alert.Event `json:"hunting"`
	Doubts        []alert.Event `json:"doubts"`    // sensor_fault and no_data of inputs that the superheat is made of
	Withdrawn     []alert.Event `json:"withdrawn"` // proved false, no part of any figure above
	Longest       []string      `json:"longest"`   // ids of floodbacks, longest below the floor first
	Worst         []string      `json:"worst"`     // ids of floodbacks, largest dose first

	Signs      []Sign   `json:"signs"`
	Otherwise  []Sign   `json:"otherwise"` // what would point to another reason
	CannotShow []string `json:"cannot_show"`

	Config commissioning.File   `json:"config"`
	Data   []commissioning.File `json:"data"`

	View   commissioning.View `json:"-"`
	Traces map[string]Trace   `json:"-"` // of the longest and worst, by id; those that recordings cover
}

// Part is the floodback exposure of some events.
type Part struct {
	Name          string  `json:"name,omitempty"`
	Events        int     `json:"events"`
	Seconds       float64 `json:"seconds_below"`        // margin below zero
	KelvinSeconds float64 `json:"kelvin_seconds_below"` // the same weighted by how far
}

func (p *Part) add(ev *alert.Event) {
	p.Events++
	p.Seconds += ev.SecondsBelow
	p.KelvinSeconds += ev.KelvinSecondsBelow
}

// Month is one calendar month: exposure from events, the rest from recordings.
type Month struct {
	Part
	FloodedStarts int   `json:"flooded_starts"`
	Work          *Work `json:"recorded"` // null where no recording covers any of it
}

// Trace is one compressor around an event, for a plot.
type Trace struct {
	Times []time.Time
	commissioning.Trace
}

// maxListed is how many of the longest and of the worst episodes are shown.
const maxListed = 5

// New gathers the report. It fails where the site has no such compressor.
func New(in Input) (*Report, error) {
	group, machine, err := find(in.Site, in.Group, in.Compressor)
	if err != nil {
		return nil, err
	}
	r := &Report{
		Format: Format, Site: in.Site.Name, Group: in.Group, Compressor: in.Compressor,
		Kind: kindName(machine.Kind), Refrigerant: group.Refrigerant.Name, Replayed: in.Replayed, View: in.View, Traces: map[string]Trace{},
		Floodbacks: []alert.Event{}, FloodedStarts: []alert.Event{}, HighSuperheat: []alert.Event{}, Hunting: []alert.Event{},
		Doubts: []alert.Event{}, Withdrawn: []alert.Event{}, Longest: []string{}, Worst: []string{}, Data: []commissioning.File{},
	}
	if !in.Since.IsZero() {
		since := in.Since.UTC()
		r.Since = &since
	}
	if in.Totals != nil {
		at := in.TotalsAt.UTC()
		r.Ledger, r.LedgerAt = in.Totals, &at
	}
	for _, ev := range in.Events {
		r.take(ev)
	}
	r.sum(in.Observed)
	r.rank(in.Observed)
	r.Recorded = in.Observed.recorded()
	r.Signs, r.Otherwise = r.signs(machine.Kind), r.otherwise(machine.Kind)
	r.CannotShow = r.limits(&in)
	return r, nil
}

// find returns the compressor of a site, or an error that lists those there are.
func find(site analyze.Site, group, compressor string) (*analyze.Group, *analyze.Compressor, error) {
	list := ""
	for i := range site.Groups {
		g := &site.Groups[i]
		for k := range g.Compressors {
			if g.Name == group && g.Compressors[k].Name == compressor {
				return g, &g.Compressors[k], nil
			}
			list += " " + g.Name + "/" + g.Compressors[k].Name
		}
	}
	return nil, nil, fmt.Errorf("the site has no compressor %s/%s; it has%s", group, compressor, list)
}

var kindNames = map[frame.CompressorKind]string{
	frame.Scroll: "scroll", frame.AirCooledSemiHermetic: "air_cooled_semi_hermetic", frame.RefrigerantCooledSemiHermetic: "refrigerant_cooled_semi_hermetic",
}

func kindName(k frame.CompressorKind) string { return kindNames[k] }

// take sorts an event into its list. What ended before Since is left out; what
// was open then is taken whole.
func (r *Report) take(ev alert.Event) {
	if ev.Group != r.Group || ev.Compressor != r.Compressor && ev.Compressor != "" {
		return
	}
	if r.Since != nil && ev.Closed != nil && ev.Closed.Before(*r.Since) {
		return
	}
	if ev.Compressor == "" && !concernsSuperheat(ev.Input) && !isSourceSilent(&ev) {
		return
	}
	if ev.Withdrawn != nil {
		r.Withdrawn = append(r.Withdrawn, ev)
		return
	}
	switch ev.Kind {
	case floodback.Floodback.String():
		r.Floodbacks = append(r.Floodbacks, ev)
	case floodback.FloodedStart.String():
		r.FloodedStarts = append(r.FloodedStarts, ev)
	case floodback.HighSuperheat.String():
		r.HighSuperheat = append(r.HighSuperheat, ev)
	case floodback.Hunting.String():
		r.Hunting = append(r.Hunting, ev)
	case floodback.SensorFault.String(), floodback.NoData.String():
		r.Doubts = append(r.Doubts, ev)
	}
}

// concernsSuperheat reports whether an input that a whole group shares decides
// what is known of its compressors; a circuit's input does not.
func concernsSuperheat(path string) bool {
	p, err := reading.ParsePath(path)
	return err == nil && (p.Role == reading.SuctionPressure || p.Role == reading.DischargePressure)
}

// isSourceSilent reports whether an event is about all inputs of a source.
func isSourceSilent(ev *alert.Event) bool {
	return slices.ContainsFunc(ev.Evidence, func(i evidence.Item) bool {
		return i.Code == evidence.SourceSilent || i.Code == evidence.GroupSilent
	})
}

// sum adds up the floodbacks by severity, phase and month.
func (r *Report) sum(o *Observed) {
	severity, phase := map[string]*Part{}, map[string]*Part{}
	months := map[string]*Month{}
	month := func(t time.Time) *Month {
		name := t.UTC().Format("2006-01")
		if months[name] == nil {
			months[name] = &Month{Part: Part{Name: name}}
		}
		return months[name]
	}
	part := func(m map[string]*Part, name string) *Part {
		if m[name] == nil {
			m[name] = &Part{Name: name}
		}
		return m[name]
	}
	for i := range r.Floodbacks {
		ev := &r.Floodbacks[i]
		r.Exposure.add(ev)
		part(severity, ev.Severity).add(ev)
		part(phase, ev.Phase).add(ev)
		month(ev.Began).add(ev)
	}
	for i := range r.FloodedStarts {
		month(r.FloodedStarts[i].Began).FloodedStarts++
	}
	if o != nil {
		for name, w := range o.months {
			at, _ := time.Parse("2006-01", name)
			work := w.export()
			month(at).Work = &work
		}
	}
	for _, s := range slices.Backward(alert.SeveritiesOf(floodback.Floodback)) {
		r.BySeverity = append(r.BySeverity, *part(severity, s.String()))
	}
	r.ByPhase = []Part{}
	for p := range frame.Phase(frame.PhaseCount) {
		if x := phase[p.String()]; x != nil {
			r.ByPhase = append(r.ByPhase, *x)
		}
	}
	r.Months = []Month{}
	for _, m := range months {
		r.Months = append(r.Months, *m)
	}
	slices.SortFunc(r.Months, func(a, b Month) int { return cmp.Compare(a.Name, b.Name) })
}

// rank finds the longest and the worst floodbacks, and their traces.
func (r *Report) rank(o *Observed) {
	by := func(figure func(*alert.Event) float64) []string {
		order := make([]*alert.Event, len(r.Floodbacks))
		for i := range r.Floodbacks {
			order[i] = &r.Floodbacks[i]
		}
		slices.SortStableFunc(order, func(a, b *alert.Event) int { return cmp.Compare(figure(b), figure(a)) })
		ids := []string{}
		for _, ev := range order[:min(len(order), maxListed)] {
			ids = append(ids, ev.ID)
		}
		return ids
	}
	r.Longest = by(func(ev *alert.Event) float64 { return ev.SecondsBelow })
	r.Worst = by(func(ev *alert.Event) float64 { return ev.KelvinSecondsBelow })
	for _, id := range slices.Concat(r.Longest, r.Worst) {
		if trace, ok := o.trace(r.Floodback(id)); ok {
			r.Traces[id] = trace
		}
	}
}

// Floodback returns the floodback of an id; nil where there is none.
func (r *Report) Floodback(id string) *alert.Event {
	for i := range r.Floodbacks {
		if r.Floodbacks[i].ID == id {
			return &r.Floodbacks[i]
		}
	}
	return nil
}

// Found returns the events that somebody has looked into, withdrawn ones too.
func (r *Report) Found() []alert.Event {
	var found []alert.Event
	for _, list := range [][]alert.Event{r.Floodbacks, r.FloodedStarts, r.HighSuperheat, r.Hunting, r.Doubts, r.Withdrawn} {
		for _, ev := range list {
			if ev.Found != nil {
				found = append(found, ev)
			}
		}
	}
	slices.SortStableFunc(found, func(a, b alert.Event) int { return a.Opened.Compare(b.Opened) })
	return found
}

// Acknowledged returns the events that somebody has taken on.
func (r *Report) Acknowledged() []alert.Event {
	var list []alert.Event
	for _, of := range [][]alert.Event{r.Floodbacks, r.FloodedStarts, r.HighSuperheat, r.Hunting, r.Doubts} {
		for _, ev := range of {
			if ev.Acknowledged != nil {
				list = append(list, ev)
			}
		}
	}
	return list
}
