package bench

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/floodback"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/episodes"
	"dewgap/config"
	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

// hasTruth reports whether a store's directory holds the truth of each row; an
// exported episode holds what was found instead.
func hasTruth(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, "truth.json"))
	return !errors.Is(err, os.ErrNotExist)
}

// runEpisode plays an exported episode and scores it by what was found on site.
func (f *Folder) runEpisode(name string, t, base *Tally) (missing Missing, err error) {
	dir := filepath.Join(f.Dir, name)
	e, err := episodes.Read(dir)
	if err != nil {
		return missing, err
	}
	cfg, err := config.Load(filepath.Join(dir, episodes.SiteFile))
	if err != nil {
		return missing, err
	}
	file := filepath.Join(dir, episodes.RecordingFile)
	site, err := f.Alter.site(cfg, file)
	if err != nil {
		return missing, err
	}
	c := &Comparison{Name: name}
	p, err := newPlayer(site, c)
	if err != nil {
		return missing, err
	}
	if err := f.play(p, nil, file); err != nil {
		return missing, fmt.Errorf("%s: %w", name, err)
	}
	p.history.Refresh(p.line.Tracker.Open())
	p.p.Machines = c.Machines
	t.Episode(c, e, p.history.Events())
	base.Episode(p.p, e, p.plain.finish())
	return missingIn(site), nil
}

// Episode adds what was named for an exported episode. Where nobody has looked,
// there is nothing to hold it against. Where nothing was the matter, every event
// of its kind is false.
func (t *Tally) Episode(c *Comparison, e *episodes.Episode, events []alert.Event) {
	if len(c.times) < 2 {
		return
	}
	t.days += c.days() * float64(len(c.Machines))
	if e.Found == nil {
		t.note("%s: nobody has looked; not scored", c.Name)
		return
	}
	var hits []*alert.Event
	for i := range events {
		ev := &events[i]
		if ev.Kind == e.Kind && ev.Group == e.Group && ev.Compressor == e.Compressor && ev.Input == e.Input && !ev.Began.After(*e.Closed) && !c.closed(ev).Before(e.Began) {
			hits = append(hits, ev)
		}
	}
	matter := e.Found.Cause != alert.CauseNone
	switch e.Kind {
	case floodback.Floodback.String():
		for range hits {
			t.events.count(matter)
		}
		if matter {
			t.episodes.count(len(hits) > 0)
		}
	case floodback.FloodedStart.String():
		if matter {
			t.starts.count(len(hits) > 0)
		} else {
			t.startFalse += len(hits)
		}
	case floodback.SensorFault.String():
		if matter {
			t.faults.count(len(hits) > 0)
		} else {
			t.faultFalse += len(hits)
		}
	}
	if !matter || len(hits) == 0 {
		t.note("%s: found %s; %d events", c.Name, e.Found.Cause, len(hits))
		return
	}
	if e.Kind != floodback.Floodback.String() {
		return // other kinds name no cause
	}
	t.split.count(len(hits) > 1)
	c.Fault = Fault{Circuit: e.Found.Circuit}
	if e.Found.Cause != "unknown" {
		c.Fault.Causes = []string{e.Found.Cause}
	}
	t.attribute(c, &Machine{Group: e.Group, Name: e.Compressor}, hits[0])
}

// demoEpisodes plays the first hours of the demo, marks its floodback of lt.c2 as
// looked into, and exports it.
func demoEpisodes(t *testing.T, dir string, found *alert.Found) {
	t.Helper()
	d, err := scenarios.Load("demo")
	if err != nil {
		t.Fatal(err)
	}
	plantOf := func() *plant.Plant {
		p, err := plant.New(d, 1)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	text := []byte(scenarios.SiteConfig(d))
	cfg, err := config.Parse("demo.toml", text)
	if err != nil {
		t.Fatal(err)
	}
	p := plantOf()
	site, column, err := siteOf(&d, p)
	if err != nil {
		t.Fatal(err)
	}
	play, err := newPlayer(site, &Comparison{})
	if err != nil {
		t.Fatal(err)
	}
	each := func(p *plant.Plant, take func(*reading.Row)) {
		for s := time.Duration(0); s < 7*time.Hour; s += 5 * time.Second {
			row := &reading.Row{Time: p.Now()}
			for i := range p.Inputs() {
				if v, ok := p.Value(i); ok {
					row.Readings = append(row.Readings, reading.Reading{Point: column[i], Time: row.Time, Value: v, Quality: reading.Good})
				}
			}
			take(row)
			p.Step(5 * time.Second)
		}
	}
	truth := make([]Truth, len(play.c.Machines))
	each(p, func(row *reading.Row) { play.step(row, truth) })
	events := episodes.Select(play.history.Events())
	events = slices.DeleteFunc(events, func(ev alert.Event) bool { return ev.Group != "lt" || ev.Compressor != "c2" })
	if len(events) != 1 {
		t.Fatalf("%d closed floodbacks of lt.c2 in 7 h of the demo, want 1", len(events))
	}
	events[0].Found = found
	w := episodes.NewWriter(episodes.Setting{Dir: dir, Config: cfg, Text: text, Site: site, Events: events})
	each(plantOf(), func(row *reading.Row) {
		if err := w.Take(row); err != nil {
			t.Fatal(err)
		}
	})
	if results, err := w.Close(); err != nil || len(results) != 1 || results[0].Dir == "" {
		t.Fatalf("%+v: %v", results, err)
	}
}

// An exported episode is scored by what was found. The demo's valve of island-2,
// the second circuit of its group, is stuck open.
func TestEpisodesAreScored(t *testing.T) {
	at := time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC)
	for _, tt := range []struct {
		name                            string
		found                           *alert.Found
		events, episodes, first, placed ratio
	}{
		{"as the plant is", &alert.Found{Cause: "valve_stuck_open", Circuit: "island-2", At: at}, ratio{1, 1}, ratio{1, 1}, ratio{1, 1}, ratio{1, 1}},
		{"another circuit and cause", &alert.Found{Cause: "low_airflow", Circuit: "island-1", At: at}, ratio{1, 1}, ratio{1, 1}, ratio{0, 1}, ratio{0, 1}},
		{"nothing was the matter", &alert.Found{Cause: alert.CauseNone, At: at}, ratio{0, 1}, ratio{}, ratio{}, ratio{}},
		{"nobody has looked", nil, ratio{}, ratio{}, ratio{}, ratio{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			demoEpisodes(t, dir, tt.found)
			f := &Folder{Dir: dir}
			names, err := f.Stores()
			if err != nil || len(names) != 1 {
				t.Fatalf("%v: %v", names, err)
			}
			var got, plain Tally
			if _, err := f.Run(names[0], &got, &plain); err != nil {
				t.Fatal(err)
			}
			if got.events != tt.events || got.episodes != tt.episodes || got.first != tt.first || got.placed != tt.placed {
				t.Errorf("events %v, episodes %v, cause %v, circuit %v; want %v, %v, %v, %v; %v", got.events, got.episodes, got.first, got.placed, tt.events, tt.episodes, tt.first, tt.placed, got.Notes)
			}
		})
	}
}
