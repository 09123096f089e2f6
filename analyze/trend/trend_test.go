package trend

import (
	"encoding/json"
	"math"
	"slices"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func near(a, b, by float64) bool { return math.Abs(a-b) <= by }

// TestJudge draws lines from what a technician would take seriously: a limit
// within a week, by a slope that is no chance and a change that matters. Both
// sides of each threshold stand beside each other. Common practice, no source.
func TestJudge(t *testing.T) {
	const floor = 8
	for _, c := range []struct {
		name  string
		q     Quantity
		slope float64
		first float64
		days  int
		want  evidence.Code // empty: no notice
		limit float64
		in    float64 // days
	}{
		{"reaches the floor", AfterDefrost, -0.5, 13, 8, "lowest_superheat_after_defrost_falls", 8, 3},
		{"a week away exactly", AfterDefrost, -0.5, 15, 8, "lowest_superheat_after_defrost_falls", 8, 7},
		{"further than a week", AfterDefrost, -0.5, 15.1, 8, "", 0, 0},
		{"within a day", AfterDefrost, -0.5, 12, 8, "lowest_superheat_after_defrost_falls_within_a_day", 8, 1},
		{"just more than a day", AfterDefrost, -0.5, 12.1, 8, "lowest_superheat_after_defrost_falls", 8, 1.2},
		{"already there", AfterDefrost, -0.5, 9, 8, "lowest_superheat_after_defrost_falls_past_limit", 8, 0},
		{"gets better", AfterDefrost, 0.5, 6, 8, "", 0, 0},
		{"five days are enough", AfterDefrost, -1, 13, 5, "lowest_superheat_after_defrost_falls_within_a_day", 8, 1},
		{"four days are too few", AfterDefrost, -2, 15, 4, "", 0, 0},
		{"1 K is enough to matter", AfterDefrost, -0.15, 9, 8, "lowest_superheat_after_defrost_falls_past_limit", 8, 0},
		{"too small to matter", AfterDefrost, -0.13, 8.9, 8, "", 0, 0},
		{"pulldown gets wetter", InPulldown, -0.5, 13, 8, "lowest_superheat_in_pulldown_falls", 8, 3},
		{"pulldown, too small", InPulldown, -0.13, 8.9, 8, "", 0, 0},
		{"pulldown gets drier", InPulldown, 0.5, 13, 8, "", 0, 0},
		{"outlet goes to dew", Outlet, -0.6, 6, 8, "coil_outlet_superheat_falls", 1, 4.0 / 3},
		{"outlet, too small", Outlet, -0.13, 1.8, 8, "", 0, 0},
		{"outlet rises", Outlet, 0.6, 1, 8, "", 0, 0},
		{"ice: half as much again", AirOverDew, 0.6, 8, 6, "air_over_dew_rises", 12, 5.0 / 3},
		{"ice, too small", AirOverDew, 0.28, 2.4, 6, "", 0, 0},
		{"the coil gets cleaner", AirOverDew, -0.6, 8, 6, "", 0, 0},
		{"longer defrosts: half as much again", DefrostLength, 120, 1500, 6, "defrost_length_rises", 2250, 1.25},
		{"longer defrosts, too small", DefrostLength, 46, 440, 6, "", 0, 0},
		{"shorter defrosts", DefrostLength, -120, 1500, 6, "", 0, 0},
		{"colder defrosts", DefrostPeak, -1, 12, 8, "defrost_peak_falls", 2, 3},
		{"colder defrosts, too small", DefrostPeak, -0.27, 4.5, 8, "", 0, 0},
		{"warmer defrosts", DefrostPeak, 1, 1, 8, "", 0, 0},
		{"twice as much to melt", Plateau, 60, 400, 6, "melting_plateau_rises", 800, 5.0 / 3},
		{"more to melt, too small", Plateau, 46, 230, 6, "", 0, 0},
		{"less to melt", Plateau, -60, 400, 6, "", 0, 0},
		{"a sensor that drifts up", AgainstTwins, 0.4, 0.2, 6, "superheat_against_twins_rises", 3.2, 2.5},
		{"a sensor that drifts down", AgainstTwins, -0.4, 0.2, 6, "superheat_against_twins_falls", -2.8, 2.5},
		{"a drift, too small", AgainstTwins, -0.19, 0, 6, "", 0, 0},
	} {
		l := filter.Line{Slope: c.slope, Low: c.slope - 0.05, High: c.slope + 0.05, First: c.first, Last: c.first + c.slope*float64(c.days-1)}
		n, ok := judge(c.q, l, c.days, floor)
		if ok != (c.want != "") || n.Found.Code != c.want {
			t.Errorf("%s: %v %+v, want %q", c.name, ok, n.Found, c.want)
			continue
		}
		if !ok {
			continue
		}
		if err := evidence.Check(n.Found); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		unit := map[string]string{"K": "_k", "°C": "_c", "s": "_seconds"}[n.Unit]
		if !near(n.Limit, c.limit, 0.01) || n.Limit != n.Found.Number("limit"+unit) || n.Now != n.Found.Number("now"+unit) || !near(n.Now, l.Last, 0.051) {
			t.Errorf("%s: limit %v, now %v, found %+v; want limit %v", c.name, n.Limit, n.Now, n.Found, c.limit)
		}
		if !near(n.Days, c.in, 0.011) || !near(n.PerDay, c.slope, 0.001) || n.Observed != c.days {
			t.Errorf("%s: in %v days, by %v a day over %d, want %v, %v, %d", c.name, n.Days, n.PerDay, n.Observed, c.in, c.slope, c.days)
		}
		change := map[string]string{"K": "_k", "°C": "_k", "s": "_seconds"}[n.Unit]
		if got := n.Found.Number("change" + change); !near(got, math.Abs(l.Last-l.First), 0.051) || n.Found.Number("over_count") != float64(c.days-1) {
			t.Errorf("%s: changed by %v over %v days, want %v over %d", c.name, got, n.Found.Number("over_count"), math.Abs(l.Last-l.First), c.days-1)
		}
		if in := n.Found.Number("in_count"); !math.IsNaN(in) && in != math.Ceil(c.in) {
			t.Errorf("%s: in %v days, want %v", c.name, in, math.Ceil(c.in))
		}
	}
	if _, ok := judge(AfterDefrost, filter.Line{Slope: -0.5, Low: -1.2, High: 0.1, First: 13, Last: 9}, 8, floor); ok {
		t.Error("a slope that could be chance made a notice")
	}
	if _, ok := judge(AfterDefrost, filter.Line{Slope: -0.5, Low: -0.6, High: -0.4, First: 13, Last: 9.5}, 8, math.NaN()); ok {
		t.Error("an unknown floor made a notice")
	}
}

// TestNoticeInJSON: an API answer holds code, values and text.
func TestNoticeInJSON(t *testing.T) {
	n, _ := judge(DefrostPeak, filter.Line{Slope: -1, Low: -1.1, High: -0.9, First: 12, Last: 5}, 8, 8)
	n.Found.Text = evidence.Renderer{System: units.US}.Text(n.Found)
	got, err := json.Marshal(n.Found)
	want := `{"code":"defrost_peak_falls","values":{"change_k":7,"over_count":7,"now_c":5,"limit_c":2,"in_count":3},` +
		`"text":"highest coil outlet temperature of its defrosts fell by 12.6 °F in 7 days to 41.0 °F; going on so, it reaches 35.6 °F in 3 days. Look at: heaters, longest time, ice left on the coil."}`
	if err != nil || string(got) != want {
		t.Errorf("got  %s, %v\nwant %s", got, err, want)
	}
}

// TestRestartForgetsNoDay: whenever a run ends, the next one goes on with what
// is written of its days, as if nothing had happened.
func TestRestartForgetsNoDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hours := rapid.IntRange(1, 24*40).Draw(t, "hours")
		stop := rapid.IntRange(0, hours).Draw(t, "stop")
		through := func(restart bool) *Group {
			g := NewGroup("lt", []string{"room"}, []string{"c1", "c2"}, 8)
			for h := range hours {
				if restart && h == stop {
					text, err := json.Marshal(g.Days())
					if err != nil {
						t.Fatal(err)
					}
					var days []Days
					if err := json.Unmarshal(text, &days); err != nil {
						t.Fatal(err)
					}
					g = NewGroup("lt", []string{"room"}, []string{"c1", "c2"}, 8)
					g.TakeUp(days, 20000*dayNS+int64(h)*3600e9)
				}
				at := 20000*dayNS + int64(h)*3600e9
				g.enter(0, AirOverDew, at, 8+float64(h)/50)
				g.enterFor(1, InPulldown, at, 12-float64(h%24)/10-float64(h)/100)
			}
			g.renew()
			return g
		}
		want, got := through(false), through(true)
		if diff := cmp.Diff(want.Days(), got.Days()); diff != "" {
			t.Fatal(diff)
		}
		if diff := cmp.Diff(want.Notices(), got.Notices()); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestTakeUpIsJudgedAtOnce(t *testing.T) {
	of := Of{Group: "lt", Circuit: "room", Quantity: AfterDefrost.Code()}
	falling := Days{Of: of}
	for day := range 8 {
		falling.Days = append(falling.Days, Day{Date: date(20000 + float64(day)), Value: 13 - 0.6*float64(day)})
	}
	ahead := Days{Of: of, Days: append(slices.Clone(falling.Days), Day{Date: date(23000), Value: 90}, Day{Date: "yesterday", Value: 90})}
	other := falling
	other.Group = "mt"
	for _, c := range []struct {
		name string
		days []Days
		want int
	}{
		{"a falling line", []Days{falling}, 1},
		{"days of a clock that ran ahead, and of none", []Days{ahead}, 1},
		{"another group's", []Days{other}, 0},
		{"no days", nil, 0},
	} {
		g := NewGroup("lt", []string{"room"}, []string{"c1"}, 8)
		x := frame.Frame{At: 20008 * dayNS, Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
		g.TakeUp(c.days, x.At)
		renewed := g.Observe(&x)
		if !renewed || len(g.Notices()) != c.want {
			t.Errorf("%s: renewed %v, notices %v", c.name, renewed, g.Notices())
		}
		if days := g.Days(); c.want == 1 && len(days[0].Days) != 8 {
			t.Errorf("%s: kept %v", c.name, days)
		}
	}
}

// A coil ices up: each day's defrost is followed by a lower superheat.
func TestSinkingSuperheatIsNoticedBeforeItFloods(t *testing.T) {
	g := NewGroup("lt", []string{"room"}, []string{"c1"}, 8)
	p := phase.NewGroup(phase.Settings{}, 1, []frame.DefrostKind{frame.Electric})
	x := frame.Frame{At: 20000 * dayNS, Dew: -30, Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
	pass := func(minutes int, over, outlet float64, heat frame.Tristate) {
		for range minutes * 6 {
			x.At += 10e9
			x.Step = 10e9
			x.Compressors[0] = frame.Compressor{Signal: frame.Yes, Inlet: superheat.Value{Dew: -30, Temperature: units.Celsius(-30 + over), Superheat: units.Kelvin(over), Quality: reading.Good}, Discharge: 80}
			x.Circuits[0] = frame.Circuit{Signal: heat, CoilOutlet: units.Celsius(outlet), Air: -20}
			p.Observe(&x)
			g.Observe(&x)
		}
	}
	noticed := 0
	for day := range 8 {
		pass(23*60, 18, -24, frame.No)
		pass(25, 20, 9, frame.Yes)
		pass(35, 14-0.7*float64(day), -24, frame.No)
		if len(g.Notices()) > 0 && noticed == 0 {
			noticed = day
		}
	}
	if noticed == 0 {
		t.Fatal("no notice in eight days")
	}
	if noticed < minDays-1 {
		t.Errorf("noticed on day %d, with fewer than %d days seen", noticed+1, minDays)
	}
	n := g.Notices()[0]
	if n.Circuit != "room" || n.Quantity != "lowest_superheat_after_defrost" || !near(n.PerDay, -0.7, 0.05) || n.Limit != 8 || n.Days > 3 {
		t.Errorf("noticed %+v", n)
	}
	for _, n := range g.Notices() {
		if n.Quantity == "coil_outlet_superheat" || n.Quantity == "air_over_dew" || n.Quantity == "defrost_length" {
			t.Errorf("nothing changed, but: %+v", n.Found)
		}
	}
}

func TestDaysAreBounded(t *testing.T) {
	var s series
	for d := range 3 * daysKept {
		for range 4 {
			s.take(float64(d), float64(d), average)
		}
	}
	if s.n != daysKept || s.day[daysKept-1] != 3*daysKept-2 {
		t.Errorf("%d days kept, the last is %v", s.n, s.day[s.n-1])
	}
	if s.take(1, math.NaN(), lowest) {
		t.Error("an unknown value ended a day")
	}
}

// TestTwins compares each steady compressor with the mean of the others whose
// superheat is known and good.
func TestTwins(t *testing.T) {
	type now struct {
		superheat float64
		phase     frame.Phase
		quality   reading.Quality
	}
	steady := func(k float64) now { return now{k, frame.Steady, reading.Good} }
	for _, c := range []struct {
		name string
		all  []now
		want []float64 // NaN: no value
	}{
		{"two", []now{steady(10), steady(13)}, []float64{-3, 3}},
		{"three", []now{steady(10), steady(12), steady(17)}, []float64{-4.5, -1.5, 6}},
		{"one alone", []now{steady(10)}, []float64{math.NaN()}},
		{"one off", []now{steady(10), {13, frame.Off, reading.Good}, steady(12)}, []float64{-2, math.NaN(), 2}},
		{"one in pulldown", []now{steady(10), {13, frame.Pulldown, reading.Good}, steady(12)}, []float64{-2, math.NaN(), 2}},
		{"one not to be believed", []now{steady(10), {13, frame.Steady, reading.Suspect}, steady(12)}, []float64{-2, math.NaN(), 2}},
	} {
		names := []string{"c1", "c2", "c3"}[:len(c.all)]
		g := NewGroup("lt", nil, names, 8)
		x := frame.Frame{At: 20000 * dayNS, Compressors: make([]frame.Compressor, len(c.all))}
		for i, n := range c.all {
			x.Compressors[i] = frame.Compressor{Phase: n.phase, Inlet: superheat.Value{Superheat: units.Kelvin(n.superheat), Quality: n.quality}}
		}
		g.Observe(&x)
		got := map[string]float64{}
		for _, d := range g.Days() {
			if d.Quantity == AgainstTwins.Code() {
				got[d.Compressor] = d.Days[0].Value
			}
		}
		for i, want := range c.want {
			if v, known := got[names[i]]; known == math.IsNaN(want) || known && !near(v, want, 1e-9) {
				t.Errorf("%s: %s is %v (%v), want %v", c.name, names[i], v, known, want)
			}
		}
	}
}
