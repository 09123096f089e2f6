package trend

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/superheat"

	"dewgap/analyze/units"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"dewgap/analyze/frame"
	"dewgap/analyze/phase"
)

func near(a, b, by float64) bool { return math.Abs(a-b) <= by }

// Cloud seeding, five years: from memory, Hollander and Wolfe, Nonparametric
// Statistical Methods, chapter on regression, which gives a slope of −0.056.
// By hand: the ten slopes are −0.15, −0.13, −0.08, −0.07, −0.0575, −0.055,
// −0.045, −0.0333, 0.01, 0.04; their median is −0.05625.
func TestFitWorkedExample(t *testing.T) {
	l, ok := Fit([]float64{1, 2, 3, 4, 5}, []float64{1.26, 1.27, 1.12, 1.16, 1.03})
	if !ok || !near(l.Slope, -0.05625, 1e-9) {
		t.Fatalf("slope %v, %v; want -0.05625", l.Slope, ok)
	}
	// What is left, y + 0.05625 x: 1.31625, 1.3825, 1.28875, 1.385, 1.31125; median 1.31625.
	if !near(l.Now, 1.31625-5*0.05625, 1e-9) || !near(l.First, 1.31625-0.05625, 1e-9) {
		t.Errorf("line from %v to %v", l.First, l.Now)
	}
	// Sen's interval for n = 5: C = 1.96·√(5·4·15/18) = 8.0, as the exact
	// table's k − 2 = 10 − 2; so the first and the last of ten slopes.
	if !near(l.Low, -0.15, 1e-9) || !near(l.High, 0.04, 1e-9) {
		t.Errorf("interval %v … %v, want -0.15 … 0.04: no trend beyond chance", l.Low, l.High)
	}
}

func TestFitRefuses(t *testing.T) {
	for _, c := range [][2][]float64{
		{{1, 2}, {1, 2}}, {{1, 2, 3}, {1, 2}}, {nil, nil}, {{1, 1, 1}, {1, 2, 3}}, {make([]float64, daysKept+1), make([]float64, daysKept+1)},
	} {
		if l, ok := Fit(c[0], c[1]); ok {
			t.Errorf("%v: fitted %v", c, l)
		}
	}
}

// Laws: a straight line is found exactly whatever fewer than 29 % of the points
// say (the breakdown point of the estimator, 1 − 1/√2: Sen 1968); moving and
// scaling the values moves and scales the line.
func TestFitLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(8, daysKept).Draw(t, "days")
		slope, level := rapid.Float64Range(-3, 3).Draw(t, "slope"), rapid.Float64Range(-20, 40).Draw(t, "level")
		x, y := make([]float64, n), make([]float64, n)
		for i := range n {
			x[i] = float64(20000 + i)
			y[i] = level + slope*float64(i)
		}
		for range n / 5 { // a fifth of them is wrong
			y[rapid.IntRange(0, n-1).Draw(t, "which")] = rapid.Float64Range(-1000, 1000).Draw(t, "wrong")
		}
		l, ok := Fit(x, y)
		if !ok || !near(l.Slope, slope, 1e-6) {
			t.Fatalf("slope %v, want %v", l.Slope, slope)
		}
		if !(l.Low <= l.Slope && l.Slope <= l.High) {
			t.Fatalf("slope %v outside %v … %v", l.Slope, l.Low, l.High)
		}
		z := slices.Clone(y)
		for i := range z {
			z[i] = 2*z[i] + 5
		}
		if m, _ := Fit(x, z); !near(m.Slope, 2*l.Slope, 1e-6) || !near(m.Now, 2*l.Now+5, 1e-4) {
			t.Fatalf("scaled: %+v of %+v", m, l)
		}
	})
}

func TestJudge(t *testing.T) {
	line := func(slope, first float64, days int) (Line, int) {
		return Line{Slope: slope, Low: slope - 0.05, High: slope + 0.05, First: first, Now: first + slope*float64(days-1)}, days
	}
	for _, c := range []struct {
		name  string
		q     Quantity
		slope float64
		first float64
		days  int
		want  string // in the words; empty: no notice
	}{
		{"reaches the floor", AfterDefrost, -0.5, 13, 8, "reaches 8.0 K in 3 days"},
		{"a week away exactly", AfterDefrost, -0.5, 15, 8, "in 7 days"},
		{"further than a week", AfterDefrost, -0.5, 15.1, 8, ""},
		{"already there", AfterDefrost, -0.5, 9, 8, "has passed 8.0 K"},
		{"gets better", AfterDefrost, 0.5, 6, 8, ""},
		{"four days are too few", AfterDefrost, -2, 15, 4, ""},
		{"too small to matter", AfterDefrost, -0.1, 8.9, 8, ""},
		{"ice", AirOverDew, 0.6, 8, 6, "reaches 12.0 K in 2 days"},
		{"longer defrosts", DefrostLength, 120, 1500, 6, "reaches 37.5 min in 2 days"},
		{"colder defrosts", DefrostPeak, -1, 12, 8, "by 1.0 K a day"},
		{"a sensor that drifts up", AgainstTwins, 0.4, 0.2, 6, "reaches 3.2 K in 3 days"},
		{"a sensor that drifts down", AgainstTwins, -0.4, 0.2, 6, "reaches -2.8 K in 3 days"},
	} {
		l, days := line(c.slope, c.first, c.days)
		n, ok := judge(c.q, l, days, 8)
		if ok != (c.want != "") || !strings.Contains(evidence.Renderer{}.Text(n.Found), c.want) {
			t.Errorf("%s: %v %v", c.name, ok, n.Found)
		}
	}
	if _, ok := judge(AfterDefrost, Line{Slope: -0.5, Low: -1.2, High: 0.1, First: 13, Now: 9}, 8, 8); ok {
		t.Error("a slope that could be chance made a notice")
	}
	if _, ok := judge(AfterDefrost, Line{Slope: -0.5, Low: -0.6, High: -0.4, First: 13, Now: 9.5}, 8, math.NaN()); ok {
		t.Error("an unknown floor made a notice")
	}
}

// TestRestartForgetsNoDay: whenever a run ends, the next one goes on with what
// is written of its days, as if nothing had happened.
func TestRestartForgetsNoDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hours := rapid.IntRange(1, 24*40).Draw(t, "hours")
		stop := rapid.IntRange(0, hours).Draw(t, "stop")
		through := func(restart bool) *Group {
			g := NewGroup("lt", []string{"room"}, []string{"c1", "c2"})
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
					g = NewGroup("lt", []string{"room"}, []string{"c1", "c2"})
					g.TakeUp(days, 20000*dayNS+int64(h)*3600e9)
				}
				at := 20000*dayNS + int64(h)*3600e9
				g.enter(0, AirOverDew, at, 8+float64(h)/50)
				g.enterFor(1, InPulldown, at, 12-float64(h%24)/10-float64(h)/100)
			}
			g.floor = 8
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
		g := NewGroup("lt", []string{"room"}, []string{"c1"})
		p := phase.NewGroup(phase.Settings{}, 1, []phase.DefrostKind{phase.Electric})
		x := frame.Frame{At: 20008 * dayNS, Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
		g.TakeUp(c.days, x.At)
		g.Compressor(0, x.At, Compressor{Phase: phase.Steady, Superheat: 15, Floor: 8})
		renewed := g.Observe(&x, p)
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
	g := NewGroup("lt", []string{"room"}, []string{"c1"})
	p := phase.NewGroup(phase.Settings{}, 1, []phase.DefrostKind{phase.Electric})
	x := frame.Frame{At: 20000 * dayNS, Dew: -30, Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
	pass := func(minutes int, over, outlet float64, heat phase.Tristate) {
		for range minutes * 6 {
			x.At += 10e9
			x.Compressors[0] = frame.Compressor{Signal: phase.Yes, Inlet: superheat.Value{Dew: -30, Temperature: units.Celsius(-30 + over)}, Discharge: 80}
			x.Circuits[0] = frame.Circuit{Signal: heat, CoilOutlet: units.Celsius(outlet), Air: -20}
			phases := p.Observe(&x)
			g.Compressor(0, x.At, Compressor{Phase: phases[0], Superheat: over, Floor: 8})
			g.Observe(&x, p)
		}
	}
	noticed := 0
	for day := range 8 {
		pass(23*60, 18, -24, phase.No)
		pass(25, 20, 9, phase.Yes)
		pass(35, 14-0.7*float64(day), -24, phase.No)
		if len(g.Notices()) > 0 && noticed == 0 {
			noticed = day
		}
	}
	if noticed == 0 {
		t.Fatal("no notice in eight days")
	}
	if noticed < daysLeast-1 {
		t.Errorf("noticed on day %d, with fewer than %d days seen", noticed+1, daysLeast)
	}
	n := g.Notices()[0]
	if n.Circuit != "room" || n.Quantity != "lowest_superheat_after_defrost" || !near(n.PerDay, -0.7, 0.05) || n.Limit != 8 || n.Days > 3 {
		t.Errorf("noticed %+v", n)
	}
	for _, n := range g.Notices() {
		if n.Quantity == "coil_outlet_superheat" || n.Quantity == "air_over_dew" || n.Quantity == "defrost_length" {
			t.Errorf("nothing changed, but: %s", n.Found.Text)
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
