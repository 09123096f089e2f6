package analyze_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// Trap 57: a silent broker is one event with its nineteen inputs listed. What
// comes back alone leaves the others to themselves; an input with a source of its
// own is its own event; another group on the same broker has one of its own.
func TestTrap57SilentSourceIsOneEvent(t *testing.T) {
	fluid, err := refrigerant.Lookup("R448A")
	if err != nil {
		t.Fatal(err)
	}
	site := analyze.Site{Name: "bench", Atmosphere: units.StandardAtmosphere}
	sources := map[string][]int{}
	add := func(path, source string) {
		t.Helper()
		p, err := reading.ParsePath(path)
		if err != nil {
			t.Fatal(err)
		}
		p.Source = source
		key := p.Group + " " + source
		sources[key] = append(sources[key], len(site.Points))
		site.Points = append(site.Points, p)
	}
	for _, name := range []string{"lt", "mt"} {
		g := analyze.Group{Name: name, Refrigerant: fluid, Ambient: units.Celsius(math.NaN())}
		g.Compressors = []analyze.Compressor{{Name: "c1"}, {Name: "c2"}}
		for i := range 5 {
			g.Circuits = append(g.Circuits, analyze.Circuit{Name: fmt.Sprintf("case-%d", i)})
		}
		site.Groups = append(site.Groups, g)
		add(name+".c1.suction_temperature", "broker")
		add(name+".suction_pressure", "broker")
		add(name+".c2.suction_temperature", "broker")
		add(name+".discharge_pressure", "own")
		for i := range 5 {
			for _, role := range []string{"coil_outlet_temperature", "air_temperature", "defrost"} {
				add(fmt.Sprintf("%s.case-%d.%s", name, i, role), "broker")
			}
		}
		add(name+".c1.running", "broker")
	}
	if n := len(sources["lt broker"]); n != 19 {
		t.Fatal(n, "inputs at the broker")
	}
	engine, err := analyze.New(site)
	if err != nil {
		t.Fatal(err)
	}
	tracker := alert.NewTracker(site)
	now := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	var said []string
	feed := func(minutes int, silent func(point int) bool) {
		for range minutes * 12 {
			now = now.Add(5 * time.Second)
			row := reading.Row{Time: now}
			for i, p := range site.Points {
				r := reading.Reading{Point: i, Time: now, Value: 1 + 0.1*float64(now.Unix()/5%3), Quality: reading.Good}
				switch p.Role.Kind() {
				case reading.Pressure:
					r.Value *= 2e5
				case reading.Switch:
					r.Value = 1
				}
				if silent(i) {
					r = reading.Fail(i, reading.Timeout)
					r.Time = now
				}
				row.Readings = append(row.Readings, r)
			}
			for _, c := range tracker.Step(engine.Observe(&row)) {
				if c.Event.Kind != floodback.NoData.String() {
					continue
				}
				code, inputs := c.Event.Evidence[0].Code, strings.Count(c.Event.Evidence[0].Word("inputs"), ", ")+1
				said = append(said, fmt.Sprintf("%s %s %s %d", c.Kind, c.Event.Input, code, inputs))
			}
		}
	}
	want := func(step string, want ...string) {
		t.Helper()
		slices.Sort(said)
		if !slices.Equal(said, want) {
			t.Errorf("%s:\n%s\nwant\n%s", step, strings.Join(said, "\n"), strings.Join(want, "\n"))
		}
		said = nil
	}
	of := func(keys ...string) func(int) bool {
		return func(point int) bool {
			return slices.ContainsFunc(keys, func(k string) bool { return slices.Contains(sources[k], point) })
		}
	}
	feed(5, of())
	want("all is read")
	feed(5, of("lt broker"))
	want("one group's inputs at the broker", "opened lt.suction_pressure source_silent 19")
	feed(5, of("lt broker", "mt broker", "mt own"))
	want("both groups, and an input of its own source", "opened mt.discharge_pressure input_concerned 1", "opened mt.suction_pressure source_silent 19")
	alone := sources["lt broker"][0]
	feed(5, func(p int) bool { return p == alone })
	want("all but one come back", "closed lt.suction_pressure source_silent 19", "closed mt.discharge_pressure input_concerned 1", "closed mt.suction_pressure source_silent 19", "opened lt.c1.suction_temperature input_concerned 1")
	feed(5, of("lt broker"))
	want("the source falls silent again", "closed lt.c1.suction_temperature input_concerned 1", "opened lt.suction_pressure source_silent 19")
}
