package commissioning

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
	"dewgap/config"
)

// Limits in these tests are the criteria's own defaults: common practice, no
// source. What is judged is drawn here, not simulated, so that each verdict
// has a known reason.

var midnight = time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)

// stretch is what one compressor and one circuit show at one second.
type stretch struct {
	superheat, uncertainty, dew, pipe, sump, apart float64
	coil, air                                      float64
	phase                                          frame.Phase
	quality                                        reading.Quality
	learned                                        bool
	shortfall                                      float64
}

// scenario draws a recording of one compressor and one circuit. A defrost begins
// every six hours from 02:00; heat lasts 20 min, drip 3 min, pulldown 15 min.
type scenario struct {
	length time.Duration
	skip   func(second int) bool // rows that are missing
	change func(second, inCycle int, s *stretch)
	heat   func(cycle int) int // seconds of heat
	events []alert.Event
	rules  func(*config.Commissioning)
	begin  int // second at which the recording begins
}

const (
	hour     = 3600
	period   = 6 * hour
	first    = 2 * hour
	heatTime = 20 * 60
	dripTime = 3 * 60
	pullTime = 15 * 60
)

// fakeSource is a Source of what the scenario draws.
type fakeSource struct {
	circuit analyze.CircuitState
	machine analyze.Machine
}

func (d *fakeSource) Circuits(dst []analyze.CircuitState) []analyze.CircuitState {
	return append(dst, d.circuit)
}
func (d *fakeSource) Machines(dst []analyze.Machine) []analyze.Machine { return append(dst, d.machine) }

func (d *fakeSource) Budgets() []superheat.Budget {
	return []superheat.Budget{{Expanded: 2, Parts: []superheat.Part{{Name: "mounting", Share: 0.8, Assumed: true}, {Name: "lag", Share: 0}}}}
}

func site(t *testing.T) analyze.Site {
	t.Helper()
	fluid, err := refrigerant.Lookup("R513A")
	if err != nil {
		t.Fatal(err)
	}
	return analyze.Site{Name: "drawn", Groups: []analyze.Group{{
		Name: "mt", Refrigerant: fluid, Detect: floodback.DefaultSettings(),
		Compressors: []analyze.Compressor{{Name: "c1"}}, Circuits: []analyze.Circuit{{Name: "case-1", Defrost: frame.Electric}},
	}}, Points: []reading.Point{
		{Path: "mt.suction_pressure", Group: "mt", Role: reading.SuctionPressure},
		{Path: "mt.discharge_pressure", Group: "mt", Role: reading.DischargePressure},
	}}
}

func (s scenario) judged(t *testing.T) Record {
	t.Helper()
	rules := defaults(t)
	if s.rules != nil {
		s.rules(&rules)
	}
	if s.length == 0 {
		s.length = 4 * time.Hour
	}
	heat := s.heat
	if heat == nil {
		heat = func(cycle int) int { return heatTime + 37*cycle } // no clock ends them
	}
	track := NewTrack(site(t))
	d := &fakeSource{circuit: analyze.CircuitState{Group: "mt", Name: "case-1", Kind: frame.Electric}}
	at := func(second int) int64 { return midnight.Add(time.Duration(second) * time.Second).UnixNano() }
	for second := s.begin; second < int(s.length.Seconds()); second++ {
		x := stretch{superheat: 14, uncertainty: 2, dew: -8, pipe: 6, sump: 30, apart: 8e5, coil: -2, air: 3,
			phase: frame.Steady, quality: reading.Good, learned: true, shortfall: math.NaN()}
		inCycle := -1
		if second >= first {
			inCycle = (second - first) % period
		}
		n := (second - first) / period
		h := heat(n)
		e := &d.circuit.Last
		switch {
		case inCycle < 0 || inCycle >= h+dripTime+pullTime:
			if inCycle == h+dripTime+pullTime && e.Began != 0 {
				e.Over = at(second)
			}
			d.circuit.Stage = frame.Refrigerating
		case inCycle < h:
			if inCycle == 0 || e.Began == 0 {
				*e = frame.DefrostRun{Began: at(second)}
			}
			x.phase, d.circuit.Stage = frame.Defrost, frame.Defrosting
			x.coil = warming(inCycle, h)
		case inCycle < h+dripTime:
			if inCycle == h {
				e.Ended = at(second)
			}
			x.phase, x.coil, d.circuit.Stage = frame.Defrost, 9, frame.Dripping
		default:
			if inCycle == h+dripTime {
				e.Resumed = at(second)
			}
			x.phase, x.coil, d.circuit.Stage = frame.Pulldown, 0, frame.PullingDown
		}
		if s.change != nil {
			s.change(second, inCycle-h-dripTime, &x)
		}
		if s.skip != nil && s.skip(second) {
			continue
		}
		floor := 11.0
		if x.phase == frame.Pulldown {
			floor = 8
		}
		d.circuit.CoilOutlet, d.circuit.Air = units.Celsius(x.coil), units.Celsius(x.air)
		d.machine = analyze.Machine{Sump: units.Celsius(x.sump), DischargeLearned: x.learned, Shortfall: units.Kelvin(x.shortfall)}
		st := analyze.State{Time: midnight.Add(time.Duration(second) * time.Second), Group: "mt", Name: "c1", Phase: x.phase, Quality: x.quality,
			Superheat: units.Kelvin(x.superheat), Floor: units.Kelvin(floor), Uncertainty: units.Kelvin(x.uncertainty), Dew: units.Celsius(x.dew), SuctionTemperature: units.Celsius(x.pipe)}
		inputs := []analyze.Input{{Value: 2e5}, {Value: 2e5 + x.apart}}
		if err := track.Add(analyze.Result{Time: st.Time, States: []analyze.State{st}, Inputs: inputs}, d); err != nil {
			t.Fatal(err)
		}
	}
	return Judge(track, s.events, rules, View{})
}

// warming is an electric defrost: 2 min of pump-down, up to the ice's melting
// point, five minutes on it, and up to 10 °C.
func warming(second, heat int) float64 {
	switch {
	case second < 120:
		return -2
	case second < 300:
		return -6 + 6*float64(second-120)/180
	case second < 600:
		return 0.2
	}
	return 0.2 + 10*float64(second-600)/float64(heat-600)
}

func defaults(t *testing.T) config.Commissioning {
	t.Helper()
	c, err := config.Parse("site.toml", []byte("[site]\nname = \"x\"\naltitude = \"0 m\"\n[[suction_group]]\nname = \"mt\"\nrefrigerant = \"R513A\"\n[[suction_group.compressor]]\nname = \"c1\"\n[[suction_group.circuit]]\nname = \"case-1\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	return c.Commissioning
}

// dip lowers the superheat to low for so many seconds, from 200 s after the restart.
func dip(low float64, seconds int) func(int, int, *stretch) {
	return func(_, after int, x *stretch) {
		if after >= 200 && after < 200+seconds {
			x.superheat = low
		}
	}
}

func TestVerdicts(t *testing.T) {
	fault := alert.Event{Kind: "sensor_fault", Group: "mt", Compressor: "c1", Input: "mt.c1.suction_temperature", Began: midnight.Add(time.Hour), Evidence: evidence.Sentences([]string{"reads the room"})}
	flood := alert.Event{Kind: "floodback", Severity: "minor", Group: "mt", Compressor: "c1", Began: midnight.Add(2 * time.Hour), SecondsBelow: 100,
		Circuits: []alert.Score{{Name: "case-1", Score: .9}}, Causes: []alert.Cause{{Cause: "valve_oversized", Score: .6}}}
	hunt := alert.Event{Kind: "hunting", Group: "mt", Compressor: "c1", Began: midnight.Add(time.Hour), Evidence: evidence.Sentences([]string{"swings by 5 K"})}
	threeOClock := midnight.Add(3 * time.Hour)
	for _, c := range []struct {
		name     string
		scenario scenario
		verdict  Verdict // of the first cycle
		because  string  // in its reasons
	}{
		{"dry", scenario{}, Pass, ""},
		{"a dip as long as is allowed", scenario{change: dip(7.9, 30)}, Pass, ""},
		{"a second longer", scenario{change: dip(7.9, 31)}, Fail, "below the floor for 31 s, lowest margin −0.1 K; allowed 30 s"},
		{"short, at its uncertainty", scenario{change: dip(2.0, 20)}, Pass, ""},
		{"short, within its uncertainty of dew", scenario{change: dip(1.9, 20)}, Fail, "less its uncertainty at the worst −0.1 K"},
		{"wet in the first 120 s of a start only", scenario{change: func(_, after int, x *stretch) {
			if after >= 200 && after < 300 {
				x.superheat, x.phase = 0, frame.Start
			}
		}}, PassRemarks, "first 120 s after a start"},
		{"a flooded start", scenario{events: []alert.Event{{Kind: "flooded_start", Group: "mt", Compressor: "c1", Began: midnight.Add(2*time.Hour + 24*time.Minute), Evidence: evidence.Sentences([]string{"cold oil"})}}}, Fail, "flooded start at 02:24:00: cold oil"},
		{"another compressor's", scenario{events: []alert.Event{{Kind: "flooded_start", Group: "mt", Compressor: "c9", Began: midnight.Add(2 * time.Hour)}}}, Pass, ""},
		{"wet by the discharge, as analysis has it", scenario{events: []alert.Event{{Kind: "floodback", Severity: "major", Group: "mt", Compressor: "c1", Began: midnight.Add(2 * time.Hour)}}}, Fail, "floodback major from 02:00:00"},
		{"withdrawn", scenario{events: []alert.Event{{Kind: "floodback", Severity: "major", Group: "mt", Compressor: "c1", Began: midnight.Add(2 * time.Hour), Closed: &threeOClock, Withdrawn: &evidence.Item{Code: evidence.Sentence, Text: "the sensor hung free"}}}}, NotJudged, "floodback major from 02:00:00 was withdrawn: the sensor hung free"},
		{"risk only", scenario{events: []alert.Event{{Kind: "floodback", Severity: "risk", Group: "mt", Compressor: "c1", Began: midnight.Add(2 * time.Hour)}}}, Pass, ""},
		{"discharge of little superheat, line of much", scenario{change: func(_, after int, x *stretch) {
			if after == 300 {
				x.shortfall = -1.5
			}
		}}, PassRemarks, "implies a superheat of 1.5 K at its lowest, below the floor of 8.0 K, where the suction line showed no less than 14.0 K"},
		{"runs in starts alone, and wet", scenario{change: func(_, after int, x *stretch) {
			if after >= -1380 && after < 1300 {
				x.phase, x.superheat = frame.Off, math.NaN()
			}
			if after >= 100 && after < 200 {
				x.phase, x.superheat = frame.Start, 0
			}
		}, events: []alert.Event{{Kind: "flooded_start", Group: "mt", Compressor: "c1", Began: midnight.Add(2*time.Hour + 24*time.Minute), Evidence: evidence.Sentences([]string{"cold oil"})}}}, Fail, "flooded start at"},
		{"runs in starts alone", scenario{change: func(_, after int, x *stretch) {
			if after >= -1380 && after < 1300 {
				x.phase, x.superheat = frame.Off, math.NaN()
			}
			if after >= 100 && after < 200 {
				x.phase = frame.Start
			}
		}}, NotJudged, "no compressor with a known superheat ran"},
		{"two dips", scenario{change: func(_, after int, x *stretch) {
			if after >= 100 && after < 110 || after >= 500 && after < 510 {
				x.superheat = 6
			}
		}}, PassRemarks, "2 dips below the floor"},
		{"a long low hour before", scenario{change: func(second, _ int, x *stretch) {
			if second > first-100 && second < first {
				x.superheat = 10
			}
		}}, Fail, "at or above the floor for 97.2 %"},
		{"hunting", scenario{events: []alert.Event{hunt}}, PassRemarks, "swings by 5 K"},
		{"hunting, where it must not", scenario{events: []alert.Event{hunt}, rules: func(c *config.Commissioning) { c.RemarkOnly = nil }}, Fail, "swings by 5 K"},
		{"too uncertain for its floor", scenario{change: func(_, _ int, x *stretch) { x.uncertainty = 5.6 }}, Fail, "is 50.9 % of the floor"},
		{"sump near dew", scenario{change: func(_, after int, x *stretch) {
			if after == 400 {
				x.sump = 1.5
			}
		}}, Fail, "oil sump at its lowest 9.5 K"},
		{"discharge far below dry gas", scenario{change: func(_, after int, x *stretch) {
			if after >= 300 && after < 340 {
				x.shortfall = 6
			}
		}}, Fail, "up to 6.0 K below dry gas"},
		{"discharge and line agree within the uncertainty", scenario{change: func(_, after int, x *stretch) {
			if after == 300 {
				x.shortfall, x.superheat = -7, 8.5
			}
		}}, Pass, ""},
		{"load not back", scenario{change: func(_, _ int, x *stretch) {}, rules: func(c *config.Commissioning) { c.Recovered = 10 * time.Minute }}, PassRemarks, "load not back"},
		{"ended by time: ice is left", scenario{change: func(_, after int, x *stretch) {
			if x.phase == frame.Defrost {
				x.coil = min(x.coil, 0.2)
			}
		}}, PassRemarks, "ended by time"},
		{"plateau beside zero", scenario{change: func(_, _ int, x *stretch) { x.coil += 1.6 }}, PassRemarks, "the coil's sensor read 1.8 °C"},
		{"a gap in it", scenario{skip: func(second int) bool { return second > first+600 && second < first+700 }}, NotJudged, "nothing was recorded for 100 s"},
		{"a gap elsewhere", scenario{skip: func(second int) bool { return second > first-700 && second < first-600 }}, Pass, ""},
		{"wet, and a gap", scenario{change: dip(0, 60), skip: func(second int) bool { return second > first+600 && second < first+700 }}, Fail, "below the floor"},
		{"begins in the defrost", scenario{begin: first + 100}, NotJudged, "begins within this defrost"},
		{"ends in the defrost", scenario{length: first*time.Second + 10*time.Minute}, NotJudged, "ends before the circuit refrigerates"},
		{"ends in the pulldown", scenario{length: first*time.Second + 33*time.Minute}, NotJudged, "ends before the pulldown is over"},
		{"ends before it was watched for 20 min", scenario{length: first*time.Second + 39*time.Minute}, NotJudged, "less than 20 min were recorded"},
		{"too little steady running", scenario{begin: first - 20*60, length: first*time.Second + 50*time.Minute}, NotJudged, "of steady running next to the cycle; 60 min is asked for"},
		{"superheat unknown for long", scenario{change: func(_, after int, x *stretch) {
			if after >= 0 && after < 100 {
				x.superheat = math.NaN()
			}
		}}, NotJudged, "its superheat was known for 96.1 %"},
		{"suspect", scenario{change: func(_, after int, x *stretch) { x.quality = reading.Suspect }}, NotJudged, "was suspect"},
		{"a sensor fault, low besides", scenario{change: dip(0, 100), events: []alert.Event{fault}}, NotJudged, "a sensor fault: reads the room"},
		{"a sensor fault, and flooded all the same", scenario{change: dip(0, 100), events: []alert.Event{fault, flood}}, Fail, "below the floor"},
		{"compressor stands after the restart", scenario{change: func(_, after int, x *stretch) {
			if after >= 200 && after < 3600 {
				x.phase = frame.Off
			}
		}}, NotJudged, "no compressor with a known superheat ran for 5 min"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := c.scenario.judged(t)
			if len(r.Cycles) == 0 {
				t.Fatal("no cycle found")
			}
			got := r.Cycles[0]
			if got.Verdict != c.verdict {
				t.Errorf("%s %q, want %s", got.Verdict, got.Reasons, c.verdict)
			}
			if !slices.ContainsFunc(got.Reasons, func(why string) bool { return strings.Contains(why, c.because) }) && c.because != "" {
				t.Errorf("reasons %q, want %q", got.Reasons, c.because)
			}
			if got.Verdict == Pass && len(got.Reasons) > 0 {
				t.Errorf("a plain pass with reasons %q", got.Reasons)
			}
			if r.Verdict == Pass || r.Verdict == PassRemarks {
				t.Error("the whole passes with less than three cycles")
			}
		})
	}
}

func TestStages(t *testing.T) {
	s := scenario{}.judged(t).Cycles[0].Stages
	began := midnight.Add(2 * time.Hour)
	for _, c := range []struct {
		name string
		got  *time.Time
		want time.Duration
	}{
		{"began", s.Began, 0}, {"heat ended", s.HeatEnded, 20 * time.Minute},
		{"resumed", s.Resumed, 23 * time.Minute}, {"pulldown over", s.Steady, 38 * time.Minute},
	} {
		if c.got == nil || !c.got.Equal(began.Add(c.want)) {
			t.Errorf("%s at %v, want %v", c.name, c.got, began.Add(c.want))
		}
	}
	// Drawn: on the plateau from 5 to 10 min. Its ends are found by slope over
	// 45 s, so to within a minute.
	if s.PlateauBegan == nil || s.PlateauBegan.Sub(began.Add(5*time.Minute)).Abs() > time.Minute ||
		s.PlateauEnded.Sub(began.Add(10*time.Minute)).Abs() > time.Minute || math.Abs(*s.PlateauAt-0.2) > 0.05 {
		t.Errorf("plateau %v to %v at %v", s.PlateauBegan, s.PlateauEnded, s.PlateauAt)
	}
}

func TestTermination(t *testing.T) {
	for _, c := range []struct {
		name    string
		hours   int
		heat    func(int) int
		want    string
		outcome Outcome
	}{
		{"one alone does not tell", 9, func(int) int { return heatTime }, "unknown", Met},
		{"lengths differ", 22, func(cycle int) int { return heatTime + 37*cycle }, "temperature", Met},
		{"all of the same minutes", 22, func(int) int { return heatTime }, "time", Remark},
	} {
		r := scenario{length: time.Duration(c.hours) * time.Hour, heat: func(n int) int {
			if c.hours == 9 && n > 0 {
				return 1 << 30 // the second is not over within the recording
			}
			return c.heat(n)
		}}.judged(t)
		got := r.Cycles[0]
		if got.Stages.Termination != c.want || got.Checks[1].Outcome != c.outcome {
			t.Errorf("%s: %s, %s %q", c.name, got.Stages.Termination, got.Checks[1].Outcome, got.Checks[1].Text)
		}
	}
}

func TestPassesInARow(t *testing.T) {
	bad := func(cycles ...int) func(int, int, *stretch) {
		return func(second, after int, x *stretch) {
			if slices.Contains(cycles, (second-first)/period) && second >= first {
				dip(0, 60)(second, after, x)
			}
		}
	}
	for _, c := range []struct {
		name     string
		scenario scenario
		verdict  Verdict
		row      int
	}{
		{"three", scenario{length: 15 * time.Hour}, Pass, 3},
		{"two", scenario{length: 9 * time.Hour}, NotJudged, 2},
		{"two are enough here", scenario{length: 9 * time.Hour, rules: func(c *config.Commissioning) { c.Passes = 2 }}, Pass, 2},
		{"the last failed", scenario{length: 15 * time.Hour, change: bad(2)}, Fail, 0},
		{"mended after the first", scenario{length: 21 * time.Hour, change: bad(0)}, PassRemarks, 3},
		{"failed between", scenario{length: 21 * time.Hour, change: bad(1)}, Fail, 2},
		{"one cut off by the end does not break the row", scenario{length: 20*time.Hour + 10*time.Minute}, Pass, 3},
		{"none", scenario{length: time.Hour}, NotJudged, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := c.scenario.judged(t)
			if r.Verdict != c.verdict || r.Circuits[0].Passed != c.row {
				t.Errorf("%s %q, %d in a row; want %s, %d", r.Verdict, r.Reasons, r.Circuits[0].Passed, c.verdict, c.row)
			}
			if (r.Verdict == Fail || r.Verdict == NotJudged) && len(r.Reasons) == 0 {
				t.Error("no reason is given")
			}
		})
	}
}

func TestAttribution(t *testing.T) {
	flood := alert.Event{Kind: "floodback", Group: "mt", Compressor: "c1", Began: midnight.Add(2*time.Hour + 30*time.Minute),
		Circuits: []alert.Score{{Name: "case-1", Score: .9}}, Causes: []alert.Cause{{Cause: "valve_oversized", Score: .6, Why: evidence.Sentences([]string{"dips"})}}}
	got := scenario{change: dip(0, 60), events: []alert.Event{flood}}.judged(t).Cycles[0]
	if len(got.Liquid) != 1 || got.Liquid[0].Name != "case-1" || len(got.Causes) != 1 || got.Causes[0].Name != "valve_oversized" || len(got.Next) < 3 || got.Next[2] != cause.Checks("valve_oversized")[2].In(evidence.Renderer{}) {
		t.Errorf("%+v %+v %+v", got.Liquid, got.Causes, got.Next)
	}
}

// A circuit that did nothing wrong is not failed for the liquid of another; it
// has not passed either, and the other is held responsible.
func TestDisturbedCycles(t *testing.T) {
	flood := func(compressor string, circuits ...alert.Score) alert.Event {
		return alert.Event{Kind: "floodback", Group: "mt", Compressor: compressor, Began: midnight.Add(2*time.Hour + 30*time.Minute), Circuits: circuits}
	}
	other, own := alert.Score{Name: "case-2", Score: 0.6}, alert.Score{Name: "case-1", Score: 0.9}
	cold := func(second, inCycle int, x *stretch) { // its own defrost is no good, too
		dip(0, 60)(second, inCycle, x)
		x.coil = min(x.coil, -1)
	}
	for _, c := range []struct {
		name    string
		change  func(int, int, *stretch)
		events  []alert.Event
		verdict Verdict
		by      string
	}{
		{"another circuit", nil, []alert.Event{flood("c1", other)}, NotJudged, "case-2"},
		{"hardly another circuit", nil, []alert.Event{flood("c1", alert.Score{Name: "case-2", Score: 0.59})}, Fail, ""},
		{"itself", nil, []alert.Event{flood("c1", own)}, Fail, ""},
		{"nobody is named", nil, []alert.Event{flood("c1")}, Fail, ""},
		{"no event", nil, nil, Fail, ""},
		{"another compressor's event", nil, []alert.Event{flood("c2", other)}, Fail, ""},
		{"two others", nil, []alert.Event{flood("c1", other), flood("c1", alert.Score{Name: "case-3", Score: 0.9})}, Fail, ""},
		{"another, and then itself", nil, []alert.Event{flood("c1", other), flood("c1", own)}, Fail, ""},
		{"another, with a poor defrost of its own", cold, []alert.Event{flood("c1", other)}, Fail, ""},
	} {
		if c.change == nil {
			c.change = dip(0, 60)
		}
		r := scenario{change: c.change, events: c.events, rules: func(x *config.Commissioning) { x.RemarkOnly = nil }}.judged(t)
		got := r.Cycles[0]
		if got.Verdict != c.verdict || got.DisturbedBy != c.by || (c.by != "") != strings.HasPrefix(got.Reasons[0], "disturbed by "+c.by+":") {
			t.Errorf("%s: %s, disturbed by %q; %v", c.name, got.Verdict, got.DisturbedBy, got.Reasons)
		}
		if r.Circuits[0].Verdict == Pass || c.by != "" && !strings.HasPrefix(r.Circuits[0].Reasons[0], "disturbed by case-2 in 1 cycle:") {
			t.Errorf("%s: circuit %+v", c.name, r.Circuits[0])
		}
	}
}

// The circuit that disturbed others fails, whatever its own cycles were, until it
// has passed as often as is asked for since.
func TestWhoDisturbsFails(t *testing.T) {
	j := judge{track: NewTrack(site(t)), rules: defaults(t)}
	own := Cycle{Group: "mt", Circuit: "case-1", Verdict: Pass}
	for _, c := range []struct {
		by, group string
		at        int // so many of its own three cycles came before
		want      Verdict
	}{{"case-1", "mt", 3, Fail}, {"case-1", "mt", 1, Fail}, {"case-1", "mt", 0, PassRemarks}, {"case-3", "mt", 3, Pass}, {"case-1", "lt", 3, Pass}} {
		cycles := slices.Insert([]Cycle{own, own, own}, c.at, Cycle{Group: c.group, Circuit: "case-2", Verdict: NotJudged, DisturbedBy: c.by})
		got := j.circuit(0, cycles)
		if got.Verdict != c.want {
			t.Errorf("disturbed by %s in %s: %+v", c.by, c.group, got)
		}
	}
}

// Stopped for 40 min with equal pressures: pipe and dew must agree.
func TestEqualised(t *testing.T) {
	stand := func(pipe float64) func(int, int, *stretch) {
		return func(second, _ int, x *stretch) {
			if second < 40*60 {
				x.phase, x.apart, x.dew, x.pipe, x.superheat = frame.Off, 0, 21, pipe, math.NaN()
			}
		}
	}
	for pipe, want := range map[float64]Outcome{22: Met, 25: Remark} {
		if got := (scenario{change: stand(pipe)}).judged(t).Groups[0].Equalised; got.Outcome != want {
			t.Errorf("pipe at %g °C over a standing dew of 21 °C: %+v", pipe, got)
		}
	}
	if got := (scenario{}).judged(t).Groups[0].Equalised; got.Outcome != NotRecorded {
		t.Errorf("never stood: %+v", got)
	}
}

func TestSensors(t *testing.T) {
	got := scenario{}.judged(t).Sensors
	if len(got) != 1 || got[0].Compressor != "c1" || *got[0].Expanded != 2 || len(got[0].Parts) != 1 || !got[0].Parts[0].Assumed {
		t.Errorf("%+v", got)
	}
}

func TestTooLong(t *testing.T) {
	track := NewTrack(site(t))
	track.at = make([]int64, maxRows)
	if err := track.Add(analyze.Result{}, &fakeSource{}); err == nil || !strings.Contains(err.Error(), "too long") {
		t.Error(err)
	}
}

// What was found for an event stands in its cycle; that of another group's or of
// another time does not.
func TestFoundIsInTheRecord(t *testing.T) {
	found := &alert.Found{Cause: "none", By: "x", At: midnight.Add(24 * time.Hour)}
	closed := midnight.Add(time.Minute)
	got := scenario{events: []alert.Event{
		{ID: "before", Kind: "hunting", Group: "mt", Compressor: "c1", Began: midnight, Closed: &closed, Found: found},
		{ID: "elsewhere", Kind: "floodback", Group: "lt", Compressor: "c1", Began: midnight.Add(2 * time.Hour), Found: found},
		{ID: "during", Kind: "floodback", Severity: "risk", Group: "mt", Compressor: "c1", Began: midnight.Add(2 * time.Hour), Found: found},
	}}.judged(t).Cycles[0].Found
	if len(got) != 1 || got[0].Event != "during" || got[0].Found != *found {
		t.Errorf("found %+v", got)
	}
}
