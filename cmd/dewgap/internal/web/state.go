package web

import (
	"math"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
	"dewgap/analyze/trend"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/snapshot"
)

// The JSON of /api/v1/state. Machines get SI; what is not known is null.
type (
	siteState struct {
		Site        string            `json:"site"`
		Time        *time.Time        `json:"time"`        // of the newest row; null before the first
		AgeSeconds  float64           `json:"age_seconds"` // since it was analysed, by the real clock
		Age         string            `json:"age"`         // the same for people
		Current     bool              `json:"current"`     // false: too old to be taken for the present
		Mode        string            `json:"mode"`
		Note        string            `json:"note,omitempty"`
		Units       string            `json:"units"`      // what people are shown first
		TextUnits   string            `json:"text_units"` // those of the text in this answer
		Version     string            `json:"version"`
		Compressors []compressorState `json:"compressors"`
		Circuits    []circuitState    `json:"circuits"`
		Inputs      []inputState      `json:"inputs"`
		Sources     []sourceState     `json:"sources"`
		Targets     []targetState     `json:"targets"` // who is told of events
		OpenEvents  []eventState      `json:"open_events"`
		Recent      []eventState      `json:"recent_events"`
		Limits      []limitState      `json:"limits"`  // what cannot be judged with the readings there are
		Notices     []trend.Notice    `json:"notices"` // slow trends that reach their limit within a week
		Faults      []snapshot.Fault  `json:"faults"`
		Replay      *snapshot.Replay  `json:"replay,omitempty"` // a recording is played: nothing here is the present
		// MayChange reports whether people can acknowledge and the like here.
		MayChange   bool                `json:"may_change"`
		User        string              `json:"user,omitempty"` // who asks, where people are authenticated
		Maintenance []alert.Maintenance `json:"maintenance"`    // those that are on
		Groups      []groupState        `json:"groups"`
	}
	// groupState is what may be named where people enter something.
	groupState struct {
		Group       string   `json:"group"`
		Compressors []string `json:"compressors"`
		Circuits    []string `json:"circuits"`
	}
	eventState struct {
		alert.Event
		Facts  []alert.Fact       `json:"facts"`                        // its figures for people
		During *alert.Maintenance `json:"during_maintenance,omitempty"` // open at some time of it
	}
	compressorState struct {
		Group              string            `json:"group"`
		Compressor         string            `json:"compressor"`
		Refrigerant        string            `json:"refrigerant,omitempty"`
		Phase              string            `json:"phase"`
		Quality            string            `json:"quality"`
		Reason             string            `json:"reason,omitempty"`
		Superheat          *float64          `json:"superheat_k"`
		Floor              *float64          `json:"floor_k"`
		Margin             *float64          `json:"margin_k"`
		Uncertainty        *float64          `json:"expanded_uncertainty_k"`
		SuctionPressure    *float64          `json:"suction_pressure_pa"`
		PressureText       string            `json:"suction_pressure,omitempty"` // as a gauge shows it, for people
		Dew                *float64          `json:"dew_c"`
		SuctionTemperature *float64          `json:"suction_temperature_c"`
		Parts              []uncertaintyPart `json:"uncertainty_parts,omitempty"` // largest first; add in squares
		SensorLag          *sensorLag        `json:"sensor_lag,omitempty"`
		FloorWarning       string            `json:"floor_warning,omitempty"`
		Totals             *alert.Totals     `json:"totals,omitempty"`
		Exposure           string            `json:"exposure,omitempty"` // time and dose below the floor in events, for people
	}
	uncertaintyPart struct {
		Part    string  `json:"part"`
		K       float64 `json:"expanded_k"` // k = 2
		Share   float64 `json:"share"`      // of the variance
		Assumed bool    `json:"assumed"`    // not stated in the configuration
		Note    string  `json:"note,omitempty"`
	}
	limitState struct {
		Group      string        `json:"group"`
		Compressor string        `json:"compressor"`
		What       string        `json:"what"`
		Reason     evidence.Item `json:"reason"`
	}
	sensorLag struct {
		Seconds float64 `json:"seconds"`
		Spread  float64 `json:"spread"` // half-width, share of seconds
		Source  string  `json:"source"` // configured, learned, assumed
		Fits    int     `json:"fits,omitempty"`
	}
	inputState struct {
		Input string   `json:"input"`
		Value *float64 `json:"value"`
		Unit  string   `json:"unit"`
		Text  string   `json:"text,omitempty"` // of a pressure, as a gauge shows it
		// Compared is the comparison with a gauge; empty where nobody made one, absent
		// for a switch.
		Compared *string    `json:"compared,omitempty"`
		Time     *time.Time `json:"time"`
		Quality  string     `json:"quality"`
		Reason   string     `json:"reason,omitempty"`
	}
	targetState struct {
		Target   string     `json:"target"`
		Kind     string     `json:"kind"`
		Address  string     `json:"address"` // without what is secret
		Waiting  int        `json:"waiting"` // changes that it should have been told by now
		Oldest   *time.Time `json:"waiting_since"`
		Told     uint64     `json:"messages_total"`
		Last     *time.Time `json:"last_message"`
		Failures uint64     `json:"failures_total"`
		Parked   int        `json:"parked"` // messages that it refused
		Off      bool       `json:"off"`    // it asked to be told no more
		Fault    string     `json:"fault,omitempty"`
	}
	sourceState struct {
		Source    string            `json:"source"`
		Kind      string            `json:"kind"`
		Address   string            `json:"address"`
		Up        bool              `json:"up"`
		Delivered bool              `json:"delivered"`
		Since     *time.Time        `json:"since"`
		Reason    string            `json:"reason,omitempty"`
		Errors    map[string]uint64 `json:"errors,omitempty"`
		Resting   []string          `json:"resting,omitempty"`
		LastSeen  *time.Time        `json:"heard"` // the last answer or message
		Requests  uint64            `json:"requests"`
		Reconnect uint64            `json:"reconnects"`
		Cycle     float64           `json:"cycle_s"` // how long the bus was busy in its last cycle
		Late      uint64            `json:"late_cycles"`
	}
)

// stateOf returns the state with its text in the units of r.
func stateOf(s *snapshot.Snapshot, age time.Duration, version string, r evidence.Renderer) siteState {
	current := age <= snapshot.MaxAge && !s.Time.IsZero()
	out := siteState{
		Site: s.Site, Time: instant(s.Time), AgeSeconds: math.Round(age.Seconds()*10) / 10, Age: units.Span(age), Current: current,
		Mode: s.Mode, Note: s.Note, Units: s.Units, TextUnits: r.System.String(), Version: version,
		Compressors: []compressorState{}, Inputs: []inputState{}, Sources: []sourceState{}, Targets: []targetState{},
		OpenEvents: withText(s.Open, s.Maintenance, r), Recent: withText(s.Recent, s.Maintenance, r),
		Maintenance: []alert.Maintenance{}, Groups: groupsOf(s),
		Circuits: circuitsOf(s, current), Notices: []trend.Notice{},
		Faults: append([]snapshot.Fault{}, s.AllFaults()...), Replay: s.Replay,
	}
	out.Limits = []limitState{}
	for _, l := range s.Limits {
		l.Reason.Text = r.Text(l.Reason)
		out.Limits = append(out.Limits, limitState{l.Group, l.Compressor, l.What, l.Reason})
	}
	for _, n := range s.Notices {
		n.Found.Text = r.Text(n.Found)
		out.Notices = append(out.Notices, n)
	}
	for i := range s.Maintenance {
		if s.Maintenance[i].On(s.Time) {
			out.Maintenance = append(out.Maintenance, s.Maintenance[i])
		}
	}
	for i := range s.States {
		st := &s.States[i]
		c := compressorState{Group: st.Group, Compressor: st.Name, Refrigerant: s.Refrigerants[st.Group]}
		for t := range s.Totals {
			if s.Totals[t].Group == st.Group && s.Totals[t].Compressor == st.Name {
				c.Totals = &s.Totals[t]
				c.Exposure = c.Totals.Exposure(r.System)
			}
		}
		if !current {
			c.Phase, c.Quality, c.Reason = "unknown", reading.Stale.String(), "nothing has been analysed lately"
			out.Compressors = append(out.Compressors, c)
			continue
		}
		c.Phase, c.Quality, c.Reason = st.Phase.String(), st.Quality.String(), r.Optional(st.Reason)
		if st.Quality.HasValue() {
			c.Superheat, c.Margin = number(float64(st.Superheat)), number(float64(st.Margin))
			if c.Superheat != nil {
				c.Uncertainty = number(float64(st.Uncertainty))
			}
		}
		if b, ok := s.Budget(i); ok && c.Uncertainty != nil {
			c.explain(b, st.Floor, r)
		}
		c.Floor = number(float64(st.Floor))
		c.SuctionPressure, c.Dew = number(float64(st.SuctionPressure)), number(float64(st.Dew))
		c.PressureText = pressureText(st.SuctionPressure, r)
		c.SuctionTemperature = number(float64(st.SuctionTemperature))
		out.Compressors = append(out.Compressors, c)
	}
	for i := range s.Inputs {
		if i < len(s.Points) {
			out.Inputs = append(out.Inputs, inputOf(s, i, current, r))
		}
	}
	for _, src := range s.Sources {
		out.Sources = append(out.Sources, sourceState{
			Source: src.Name, Kind: src.Kind, Address: src.Address, Up: src.Up && current, Delivered: src.Delivered,
			Since: instant(src.Since), Reason: src.Reason, Errors: src.Errors, Resting: src.Resting,
			LastSeen: instant(src.LastSeen), Requests: src.Requests, Reconnect: src.Reconnects, Cycle: src.Cycle.Seconds(), Late: src.LateCycles,
		})
	}
	for _, t := range s.Targets {
		out.Targets = append(out.Targets, targetState{
			Target: t.Name, Kind: t.Kind, Address: t.Address, Waiting: t.Waiting, Oldest: instant(t.Oldest), Told: t.Told, Last: instant(t.Last),
			Failures: t.Failures, Parked: t.Parked, Off: t.Off, Fault: t.Fault,
		})
	}
	return out
}

// groupsOf lists the groups with their members, in configuration order.
func groupsOf(s *snapshot.Snapshot) []groupState {
	groups := []groupState{}
	of := func(name string) *groupState {
		for i := range groups {
			if groups[i].Group == name {
				return &groups[i]
			}
		}
		groups = append(groups, groupState{name, []string{}, []string{}})
		return &groups[len(groups)-1]
	}
	for i := range s.States {
		g := of(s.States[i].Group)
		g.Compressors = append(g.Compressors, s.States[i].Name)
	}
	for i := range s.Circuits {
		g := of(s.Circuits[i].Group)
		g.Circuits = append(g.Circuits, s.Circuits[i].Name)
	}
	return groups
}

// withText returns events with their words and figures in the units of r.
func withText(events []alert.Event, maintenance []alert.Maintenance, r evidence.Renderer) []eventState {
	out := make([]eventState, 0, len(events))
	for i := range events {
		out = append(out, eventState{events[i].WithText(r), append([]alert.Fact{}, events[i].Facts(r)...), alert.During(maintenance, &events[i])})
	}
	return out
}

// explain shows where the uncertainty comes from, and warns of a floor that is
// not above it.
func (c *compressorState) explain(b superheat.Budget, floor units.Kelvin, r evidence.Renderer) {
	for _, p := range b.Parts {
		c.Parts = append(c.Parts, uncertaintyPart{p.Name, round(superheat.Coverage * float64(p.Standard)), round(p.Share), p.Assumed, note(p, r)})
	}
	c.SensorLag = &sensorLag{round(b.Lag.Lag.Seconds()), round(b.Lag.Spread), b.Lag.Source(), b.Lag.Fits}
	if problem, remedy, ok := b.FloorWarning(floor); ok {
		c.FloorWarning = r.Text(problem) + "; " + r.Text(remedy)
	}
}

// note returns the note of a part in words; nothing where it has none.
func note(p superheat.Part, r evidence.Renderer) string {
	if p.Note.IsZero() {
		return ""
	}
	return r.Text(p.Note)
}

var unitOf = map[reading.Kind]string{reading.Pressure: "Paa", reading.Temperature: "degC", reading.Switch: "bool", reading.Share: "%"}

func inputOf(s *snapshot.Snapshot, i int, current bool, r evidence.Renderer) inputState {
	in, p := &s.Inputs[i], &s.Points[i]
	out := inputState{Input: p.Path, Unit: unitOf[p.Role.Kind()], Time: instant(in.At), Quality: in.Quality.String(), Reason: r.Optional(in.Reason)}
	if !current && in.Quality.HasValue() {
		out.Quality, out.Reason = reading.Stale.String(), "nothing has been analysed lately"
	} else if in.Quality.HasValue() {
		out.Value = number(in.Value)
		if p.Role.Kind() == reading.Pressure {
			own := r
			if r.Pressure.IsPressure() && p.Unit.IsPressure() {
				own.Pressure = p.Unit
			}
			out.Text = pressureText(units.Pascal(in.Value), own)
		}
	}
	if kind := p.Role.Kind(); i < len(s.Compared) && (kind == reading.Pressure || kind == reading.Temperature) {
		out.Compared = &s.Compared[i]
	}
	return out
}

// pressureText writes an absolute pressure as a gauge of the site shows it;
// nothing where it is not known.
func pressureText(p units.Pascal, r evidence.Renderer) string {
	if number(float64(p)) == nil {
		return ""
	}
	return r.System.PressureIn(r.Pressure, p, r.Atmosphere)
}

// historyJSON is what the page plots: one entry for each ten seconds of data,
// the lowest superheat in it.
type historyJSON struct {
	From      *time.Time `json:"from"`
	Step      float64    `json:"step_seconds"`
	Superheat []*float64 `json:"lowest_superheat_k"`
	Floor     []*float64 `json:"floor_k"`
}

func historyOf(t snapshot.Trace) historyJSON {
	h := historyJSON{From: instant(t.From), Step: snapshot.BucketLength.Seconds(), Superheat: []*float64{}, Floor: []*float64{}}
	for i := range t.Superheat {
		h.Superheat = append(h.Superheat, tenth(t.Superheat[i]))
		h.Floor = append(h.Floor, tenth(t.Floor[i]))
	}
	return h
}

// number is v to a thousandth, nil when it is not known.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	r := round(v)
	return &r
}

func round(v float64) float64 { return math.Round(v*1000) / 1000 }

func tenth(v float32) *float64 {
	if v != v {
		return nil
	}
	r := math.Round(float64(v)*10) / 10
	return &r
}

func instant(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}
