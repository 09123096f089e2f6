package analyze

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/sensorcheck"
	"dewgap/analyze/superheat"
	"dewgap/analyze/trend"
	"dewgap/analyze/units"
)

// Names that callers of this package need at every step.
type (
	Finding = floodback.Finding
	Kind    = floodback.Kind
)

// State is what one compressor is doing at one instant. A quantity that is not
// known is NaN; so is the superheat of a stopped compressor, which has none.
type State struct {
	Time               time.Time
	Compressor         int // index among the site's compressors, configuration order
	Group              string
	Name               string
	Phase              frame.Phase
	Running            frame.Tristate  // also where the phase is not known
	Quality            reading.Quality // of the superheat
	Reason             *evidence.Item  // why it is not good; nil where it is
	Superheat          units.Kelvin
	Floor              units.Kelvin
	Margin             units.Kelvin // superheat − floor
	Uncertainty        units.Kelvin // expanded, k = 2
	SuctionPressure    units.Pascal
	Dew                units.Celsius
	SuctionTemperature units.Celsius
}

// Result is what one row showed. Its slices belong to the engine and are valid
// until the next Observe.
type Result struct {
	Time     time.Time
	States   []State       // one for each compressor, configuration order
	Stages   []frame.Stage // one for each circuit, configuration order
	Findings []Finding     // those whose verdict is not the plain Clear
	Inputs   []Input       // one for each point
	// Notices are the slow trends that reach their limit within a week. The
	// slice is never changed, another may take its place.
	Notices []trend.Notice
	// Limits are what cannot be judged with the readings that the site has. The
	// slice is never changed, another may take its place.
	Limits []Limit
}

// Input is what is known of one point now.
type Input struct {
	Value   float64 // SI; NaN when not known
	At      time.Time
	Quality reading.Quality
	Reason  *evidence.Item // why it is not good; nil where it is
}

// Engine analyses the rows of one site. It is not safe for concurrent use.
type Engine struct {
	site     Site
	inputs   []input
	groups   []*group
	result   Result
	limited  bool // result.Limits were written
	silences []silence
	gaps     reading.GapDetector
}

// New returns an engine for site, or an error that names the part of the site
// does not fit together.
func New(site Site) (*Engine, error) {
	e := &Engine{site: site}
	if len(site.Sensors) != 0 && len(site.Sensors) != len(site.Points) {
		return nil, fmt.Errorf("site %q: %d sensors for %d points; one for each, or none", site.Name, len(site.Sensors), len(site.Points))
	}
	compressors := 0
	for i := range site.Groups {
		g, err := newGroup(&site.Groups[i], site.Atmosphere, compressors)
		if err != nil {
			return nil, fmt.Errorf("group %q: %w", site.Groups[i].Name, err)
		}
		e.groups = append(e.groups, g)
		compressors += len(site.Groups[i].Compressors)
	}
	for i := range site.Points {
		if err := e.connect(i); err != nil {
			return nil, fmt.Errorf("point %q: %w", site.Points[i].Path, err)
		}
	}
	for _, g := range e.groups {
		g.ready(e.inputs, site.Points, site.Sensors)
	}
	for _, g := range e.groups {
		for i := range g.compressors {
			e.result.States = append(e.result.States, State{Compressor: g.first + i, Group: g.spec.Name, Name: g.spec.Compressors[i].Name})
		}
		g.firstCircuit = len(e.result.Stages)
		e.result.Stages = append(e.result.Stages, make([]frame.Stage, len(g.circuits))...)
	}
	e.result.Inputs = make([]Input, len(site.Points))
	e.silences = silences(site.Points)
	return e, nil
}

// Observe takes the next row, whose time must not lie before the last one's,
// and returns what it showed. It keeps nothing of row.
func (e *Engine) Observe(row *reading.Row) Result {
	at := row.Time.UnixNano()
	interval := e.gaps.Next(row.Time)
	for i := range row.Readings {
		r := &row.Readings[i]
		if r.Point >= 0 && r.Point < len(e.inputs) {
			e.inputs[r.Point].take(at, r)
		}
	}
	e.result.Time = row.Time
	e.result.Findings = e.result.Findings[:0]
	for i := range e.inputs {
		e.reportInput(i, at)
	}
	e.joinSilences()
	renewed := false
	for _, g := range e.groups {
		renewed = g.observe(at, interval, e) || renewed
	}
	e.renewLimits()
	if renewed {
		e.result.Notices = nil
		for _, g := range e.groups {
			e.result.Notices = append(e.result.Notices, g.trends.Notices()...)
		}
	}
	return e.result
}

// Budgets returns where the uncertainty of each compressor's superheat comes
// from now; one without parts where there is no superheat.
func (e *Engine) Budgets() []superheat.Budget {
	all := make([]superheat.Budget, len(e.result.States))
	for _, g := range e.groups {
		for i := range g.compressors {
			if c := &g.compressors[i]; finite(float64(c.value.Uncertainty)) {
				all[g.first+i] = c.meter.Budget(e.inputs[c.suctionPressure].suction)
			}
		}
	}
	return all
}

// Misconfigurations returns the mistakes of configuration and wiring that
// explain inputs which cannot be right, group by group, the likeliest first.
func (e *Engine) Misconfigurations() []sensorcheck.Misconfiguration {
	var all []sensorcheck.Misconfiguration
	for _, g := range e.groups {
		all = append(all, g.checker.Misconfigurations()...)
	}
	return all
}

// TrendDays returns the days that the slow trends stand on.
func (e *Engine) TrendDays() []trend.Days {
	var all []trend.Days
	for _, g := range e.groups {
		all = append(all, g.trends.Days()...)
	}
	return all
}

// TakeUpTrends continues the days that an earlier run kept, up to now. Trends
// decide no event: replaying a recording needs none of it.
func (e *Engine) TakeUpTrends(days []trend.Days, now time.Time) {
	for _, g := range e.groups {
		g.trends.TakeUp(days, now.UnixNano())
	}
}

// finite reports whether x is a number.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// reportInput keeps what is known of one input now, and reports one that is
// silent or cannot be right.
func (e *Engine) reportInput(i int, at int64) {
	in := &e.inputs[i]
	value, q, why := in.now(at)
	out := &e.result.Inputs[i]
	out.Value = value
	if q != reading.Good || q != out.Quality { // a good value has no reason
		out.Quality, out.Reason = q, why
	}
	if seen := in.at(); seen != in.shown {
		in.shown = seen
		out.At = e.result.Time
		if seen != at {
			out.At = e.result.Time.Add(time.Duration(seen - at))
		}
	}
	if q == reading.Good {
		in.found = nil
		return
	}
	f := Finding{Compressor: in.compressor, Input: i, Verdict: floodback.Present, Severity: floodback.Warning}
	switch {
	case isSilent(q):
		f.Kind, f.Hold, f.ClearHold = floodback.NoData, in.detect.NoDataHold, in.detect.FaultHold
	case why == superheat.ReasonJump:
		return // to be confirmed within a few samples
	default:
		f.Kind, f.Hold, f.ClearHold = floodback.SensorFault, in.detect.FaultHold, in.detect.ClearHold
	}
	if sensorcheck.IsCertain(why.Code) {
		f.Hold = 0
	}
	if in.found == nil || why != in.why {
		in.why, in.found = why, []evidence.Item{evidence.New(evidence.InputConcerned, evidence.Name("input", e.site.Points[i].Path)), *why}
	}
	f.Evidence = in.found
	e.result.Findings = append(e.result.Findings, f)
}
