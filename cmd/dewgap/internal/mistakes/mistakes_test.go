// Package mistakes plays the mistakes that are made when a site is configured
// and wired, each on a simulated plant that runs, and asks that they are named
// with their remedy before any floodback opens. It holds tests only.
package mistakes

import (
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/config"
	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

var verbose = flag.Bool("mistakes", false, "list what is named when")

// mistake is one mistake about one input (or two that are exchanged).
type mistake struct {
	name      string
	scenario  string
	input     string
	is, taken string // units: what the device sends, and what the site file has
	factor    float64
	other     string // exchanged with
	want      evidence.Code
	key       string // of the site file that the remedy changes
	value     string
	// open says that it is not found yet: a known shortcoming. The test fails when
	// it is found.
	open bool
}

var twenty = []mistake{
	{name: "psig as barg", scenario: "chilled-rack", input: "SUCTION", is: "psig", taken: "barg", want: evidence.PsiTakenForBar, key: "unit", value: "psig"},
	{name: "psig as barg, frozen", scenario: "freezer-room", input: "SUCTION", is: "psig", taken: "barg", want: evidence.PsiTakenForBar, key: "unit", value: "psig"},
	{name: "barg as psig", scenario: "chilled-rack", input: "SUCTION", is: "barg", taken: "psig", want: evidence.BarTakenForPsi, key: "unit", value: "barg"},
	{name: "kPag as barg", scenario: "chilled-counter", input: "SUCTION", is: "kPag", taken: "barg", want: evidence.KilopascalTakenForBar, key: "unit", value: "kPag"},
	{name: "gauge as absolute", scenario: "freezer-room", input: "SUCTION", is: "barg", taken: "bara", want: evidence.GaugeTakenForAbsolute, key: "unit", value: "barg"},
	// Dew reads 8 to 10 K too high: with wet coils and a wet line that is what a
	// flooded plant of this blend shows, too.
	{name: "absolute as gauge", scenario: "freezer-room", input: "SUCTION", is: "bara", taken: "barg", want: evidence.AbsoluteTakenForGauge, key: "unit", value: "bara", open: true},
	{name: "line F as C", scenario: "chilled-counter", input: "LINE", is: "degF", taken: "degC", want: evidence.FahrenheitTakenForCelsius, key: "unit", value: "degF"},
	{name: "line C as F", scenario: "chilled-counter", input: "LINE", is: "degC", taken: "degF", want: evidence.CelsiusTakenForFahrenheit, key: "unit", value: "degC"},
	{name: "line K as C", scenario: "chilled-counter", input: "LINE", is: "K", taken: "degC", want: evidence.KelvinTakenForCelsius, key: "unit", value: "K"},
	{name: "air sign lost", scenario: "freezer-room", input: "AIR", is: "degC", taken: "degC", factor: -1, want: evidence.SignLost, key: "scale"},
	{name: "line ten times", scenario: "freezer-room", input: "LINE", is: "degC", taken: "degC", factor: 10, want: evidence.TemperatureTooLarge, key: "scale"},
	{name: "discharge a tenth", scenario: "freezer-room", input: "HOT", is: "degC", taken: "degC", factor: 0.1, want: evidence.TemperatureTooSmall, key: "scale"},
	{name: "pressure ten times", scenario: "chilled-rack", input: "SUCTION", is: "barg", taken: "barg", factor: 10, want: evidence.PressureTooLarge, key: "scale"},
	{name: "pressure a tenth", scenario: "chilled-rack", input: "SUCTION", is: "barg", taken: "barg", factor: 0.1, want: evidence.PressureTooSmall, key: "scale"},
	{name: "pressures exchanged", scenario: "chilled-counter", input: "SUCTION", is: "bara", taken: "bara", other: "HIGH", want: evidence.PressuresExchanged, key: "exchange"},
	{name: "line and discharge exchanged", scenario: "chilled-counter", input: "LINE", is: "degC", taken: "degC", other: "HOT", want: evidence.LineAndDischargeExchanged, key: "exchange"},
	{name: "discharge F as C", scenario: "chilled-counter", input: "HOT", is: "degF", taken: "degC", want: evidence.FahrenheitTakenForCelsius, key: "unit", value: "degF"},
	{name: "coil F as C", scenario: "chilled-counter", input: "COIL", is: "degF", taken: "degC", want: evidence.FahrenheitTakenForCelsius, key: "unit", value: "degF"},
	{name: "air F as C", scenario: "chilled-counter", input: "AIR", is: "degF", taken: "degC", want: evidence.FahrenheitTakenForCelsius, key: "unit", value: "degF"},
	{name: "coil K as C", scenario: "freezer-room", input: "COIL", is: "K", taken: "degC", want: evidence.KelvinTakenForCelsius, key: "unit", value: "K"},
}

// resolve returns the path of an input that is named by what it measures.
func resolve(p *plant.Plant, name string) string {
	role, ok := map[string]string{"SUCTION": ".suction_pressure", "HIGH": ".discharge_pressure", "LINE": ".suction_temperature",
		"HOT": ".discharge_temperature", "COIL": ".coil_outlet_temperature", "AIR": ".air_temperature"}[name]
	if !ok {
		return name
	}
	for _, in := range p.Inputs() {
		if strings.HasSuffix(in.Path, role) {
			return in.Path
		}
	}
	return ""
}

// played is what the analysis made of a plant.
type played struct {
	named     []evidence.Code
	first     evidence.Code // named first
	remedy    string
	at        time.Duration // when, since the first row
	floodback int
	withdrawn int
	events    []string
}

// length is how long each plant runs: through defrosts, or in a short run until
// the last mistake is named.
func length() time.Duration {
	if testing.Short() {
		return 40 * time.Minute
	}
	return 2 * time.Hour
}

// latest is how long a machine has run when the last mistake is named: what only
// the discharge shows needs four minutes after a start.
const latest = 5 * time.Minute

// play takes a plant through the analysis, with a mistake (nil: none).
func play(name string, m *mistake, length time.Duration) (*played, error) {
	d, err := scenarios.Load(name)
	if err != nil {
		return nil, err
	}
	p, err := plant.New(d, 1)
	if err != nil {
		return nil, err
	}
	cfg, err := config.Parse("mistakes.toml", []byte(scenarios.SiteConfig(d)))
	if err != nil {
		return nil, err
	}
	var paths []string
	for _, in := range p.Inputs() {
		paths = append(paths, in.Path)
	}
	site, err := cfg.ForRecording(paths)
	if err != nil {
		return nil, err
	}
	column := make([]int, len(paths))
	for i, path := range paths {
		column[i] = slices.IndexFunc(site.Points, func(pt reading.Point) bool { return pt.Path == path })
	}
	wrong, other := -1, -1
	var is, taken units.Unit
	if m != nil {
		wrong, other = slices.Index(paths, resolve(p, m.input)), slices.Index(paths, resolve(p, m.other))
		if wrong < 0 || m.other != "" && other < 0 {
			return nil, fmt.Errorf("%s has no input %q or %q", name, m.input, m.other)
		}
		if is, err = units.ParseUnit(m.is); err != nil {
			return nil, err
		}
		if taken, err = units.ParseUnit(m.taken); err != nil {
			return nil, err
		}
		site.Points[column[wrong]].Unit = taken
	}
	return run(site, p, column, length, func(i int) (float64, bool) {
		if m == nil || i != wrong && i != other {
			return p.Value(i)
		}
		if m.other != "" {
			if i == wrong {
				return p.Value(other)
			}
			return p.Value(wrong)
		}
		v, ok := p.Value(i)
		number := is.FromSI(v, site.Atmosphere)
		if m.factor != 0 {
			number *= m.factor
		}
		return taken.ToSI(number, site.Atmosphere), ok
	})
}

func run(site analyze.Site, p *plant.Plant, column []int, length time.Duration, value func(int) (float64, bool)) (*played, error) {
	line, err := pipeline.New(site)
	if err != nil {
		return nil, err
	}
	out := &played{}
	var row reading.Row
	begin := p.Now()
	running := time.Duration(0)
	for p.Now().Sub(begin) < length {
		row.Time = p.Now()
		row.Readings = row.Readings[:0]
		for i := range p.Inputs() {
			if v, ok := value(i); ok {
				row.Readings = append(row.Readings, reading.Reading{Point: column[i], Time: row.Time, Value: v, Quality: reading.Good})
			} else if why := p.Reason(i); why != "" {
				row.Readings = append(row.Readings, reading.Reading{Point: column[i], Time: row.Time, Quality: reading.QualityOf(why), Reason: why})
			}
		}
		_, changes := line.Step(&row)
		for _, truth := range p.Truth() {
			if truth.Phase != "off" {
				running += 2 * time.Second
				break
			}
		}
		for _, c := range changes {
			if c.Kind == alert.Opened {
				if c.Event.Kind == floodback.Floodback.String() {
					out.floodback++
				}
				text := c.Event.Kind
				for _, e := range c.Event.Evidence {
					text += " " + string(e.Code) + " " + e.Word("input") + " " + e.Word("likely_code")
				}
				out.events = append(out.events, fmt.Sprintf("%v %s", p.Now().Sub(begin), text))
			}
		}
		for _, c := range changes {
			if c.Kind == alert.Withdrawn {
				out.withdrawn++
				out.events = append(out.events, fmt.Sprintf("%v withdrawn %s", p.Now().Sub(begin), c.Event.Kind))
			}
		}
		for _, n := range line.Engine().Misconfigurations() {
			if len(out.named) == 0 {
				out.first, out.at = n.Kind, running
				out.remedy = n.Remedy.Key + " " + n.Remedy.Value
			}
			if !slices.Contains(out.named, n.Kind) {
				out.named = append(out.named, n.Kind)
				if *verbose {
					fmt.Printf("   %v (running %v) %s %s shown %.2f right %.2f share %.2f %v\n", p.Now().Sub(begin), running, site.Points[n.Point].Path, n.Kind, n.Shown, n.Right, n.Share, n.Remedy)
				}
			}
		}
		p.Step(2 * time.Second)
	}
	return out, nil
}

// TestTypicalMistakes: each is named first, with its remedy, and opens no
// floodback.
func TestTypicalMistakes(t *testing.T) {
	for i := range twenty {
		m := &twenty[i]
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			got, err := play(m.scenario, m, length())
			if err != nil {
				t.Fatal(err)
			}
			if *verbose {
				fmt.Println(m.name, got.first, got.at, got.named, got.floodback, got.events)
			}
			if m.open {
				if got.first == m.want && got.floodback <= got.withdrawn {
					t.Error("is found now: take the mark away")
				}
				return
			}
			if got.remedy != m.key+" "+m.value {
				t.Errorf("remedy %q, want %s %s", got.remedy, m.key, m.value)
			}
			if got.at > latest {
				t.Errorf("named after %v of running, want %v", got.at, latest)
			}
			if got.first != m.want {
				t.Errorf("named %q first (%v); want %s. %v", got.first, got.named, m.want, got.events)
			}
			if got.floodback > got.withdrawn {
				t.Errorf("%d floodbacks; want none", got.floodback)
			}
		})
	}
}

// TestHealthyPlantsHaveNoMistake: nothing is named where nothing is wrong.
func TestHealthyPlantsHaveNoMistake(t *testing.T) {
	for _, name := range scenarios.Names() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := play(name, nil, length())
			if err != nil {
				t.Fatal(err)
			}
			if len(got.named) > 0 && name != "gauge-for-absolute" {
				t.Errorf("named %v", got.named)
			}
		})
	}
}

// plausible lists the scenarios in which a suction pressure that is taken for a
// gauge pressure although it is absolute leaves all that is measured within what a
// working plant shows: dew reads 4 to 12 K too high, and coils and lines are as if
// they were fed too well. Only a gauge tells it there.
var plausible = []string{
	"capillary-cabinet", "chilled-counter", "chilled-rack", "deep-dips", "door-surges", "flooded-start", "gauge-for-absolute",
	"mop-pulldown", "short-cycling", "staging", "valve-stuck-open",
}

// TestAbsoluteTakenForGauge makes the commonest mistake at every plant: where coils
// or lines contradict it, it is named with its remedy, and what opened before is
// withdrawn.
func TestAbsoluteTakenForGauge(t *testing.T) {
	if testing.Short() {
		t.Skip("some plants show it after an hour only")
	}
	for _, name := range scenarios.Names() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := play(name, &mistake{scenario: name, input: "SUCTION", is: "bara", taken: "barg"}, length())
			if err != nil {
				t.Fatal(err)
			}
			switch first, hidden := got.first, slices.Contains(plausible, name); {
			case name == "defrost-incomplete":
				// A known shortcoming: the wet line looks as if it were read ten
				// times too cold.
				if first != evidence.TemperatureTooLarge {
					t.Errorf("named %q: take the mark away", first)
				}
			case hidden && first != "":
				t.Errorf("named %q: take it off the list", first)
			case !hidden && (first != evidence.AbsoluteTakenForGauge || got.remedy != "unit bara"):
				t.Errorf("named %q with remedy %q after %v", first, got.remedy, got.at)
			}
		})
	}
}
