package pipeline_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/collector/recording"
	"dewgap/config"
)

var (
	update    = flag.Bool("update", false, "write the golden results anew; give the reason in the commit")
	statesDir = flag.String("states", "", "also write the states of each recording to this directory")
)

const goldenDir = "testdata/golden"

// Each recording gives the events and states that it gave before, and the table
// of its README is right about which of them are as wanted.
func TestGoldenRecordings(t *testing.T) {
	table, err := readWanted(filepath.Join(goldenDir, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	checkFiles(t, table)
	var today sync.Map
	t.Run("replay", func(t *testing.T) {
		for _, w := range table.rows {
			t.Run(w.name, func(t *testing.T) {
				t.Parallel()
				got, err := replay(w)
				if err != nil {
					t.Fatal(err)
				}
				compare(t, w.name+".events.jsonl", got.events)
				compare(t, w.name+".states.txt", got.states)
				today.Store(w.name, got.summary)
				if reached := w.wanted.met(got.summary); reached && w.reached == "no" && w.wanted.beyond == "" {
					t.Errorf("%s is as wanted now; write yes in the table", w.name)
				} else if !reached && w.reached != "no" {
					t.Errorf("%s gives %s, wanted is %s", w.name, got.summary, w.wanted.text)
				}
			})
		}
	})
	for i := range table.rows {
		w := &table.rows[i]
		got, ok := today.Load(w.name)
		switch {
		case !ok || got.(summary).String() == w.today:
		case *update:
			w.today = got.(summary).String()
		default:
			t.Errorf("the table gives for %s today\n  %s\nbut it ends as\n  %s\nRun with -update if that is meant.", w.name, w.today, got)
		}
	}
	if *update {
		if err := table.write(); err != nil {
			t.Fatal(err)
		}
	}
}

// checkFiles holds the table and the directory together.
func checkFiles(t *testing.T, table *wantedTable) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(goldenDir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{"README.md": true}
	for _, w := range table.rows {
		for _, name := range []string{w.name + ".csv.gz", w.site + ".toml", w.name + ".events.jsonl", w.name + ".states.txt"} {
			known[name] = true
		}
	}
	size := int64(0)
	for _, path := range files {
		if !known[filepath.Base(path)] {
			t.Errorf("%s belongs to no row of the table", path)
		}
		if info, err := os.Stat(path); err == nil {
			size += info.Size()
		}
	}
	if len(table.rows) < 12 {
		t.Errorf("%d recordings are in the table, want 12 at least", len(table.rows))
	}
	if size > 6<<20 {
		t.Errorf("%s holds %d bytes, want 6 MiB at most", goldenDir, size)
	}
}

func compare(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join(goldenDir, name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(got, want) {
		return
	}
	g, w := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
	for i := range max(len(g), len(w)) {
		a, b := "", ""
		if i < len(g) {
			a = g[i]
		}
		if i < len(w) {
			b = w[i]
		}
		if a != b {
			t.Errorf("%s differs first in line %d:\n got %s\nwant %s\nRun with -update if that is meant, and compare the files.", path, i+1, a, b)
			return
		}
	}
}

type goldenResult struct {
	events, states []byte
	summary        summary
}

// replay runs one recording through the pipeline.
func replay(w wantedRow) (*goldenResult, error) {
	cfg, err := config.Load(filepath.Join(goldenDir, w.site+".toml"))
	if err != nil {
		return nil, err
	}
	file := filepath.Join(goldenDir, w.name+".csv.gz")
	columns, err := recording.Columns(file)
	if err != nil {
		return nil, err
	}
	var paths []string
	for _, c := range columns {
		paths = append(paths, c.Point.Path)
	}
	site, err := cfg.ForRecording(paths)
	if err != nil {
		return nil, err
	}
	in, err := recording.Open(file, recording.Lookup(site.Points), site.Atmosphere)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	line, err := pipeline.New(site)
	if err != nil {
		return nil, err
	}
	digest, err := newStatesDigest(w.name)
	if err != nil {
		return nil, err
	}
	history, err := line.Run(context.Background(), rowsOf{in}, func(r analyze.Result, _ []alert.Change) error { return digest.add(r) })
	if err != nil {
		return nil, err
	}
	out := &goldenResult{summary: summarize(history.Events())}
	if out.states, err = digest.finish(); err != nil {
		return nil, err
	}
	out.events, err = goldenEvents(history.Events())
	return out, err
}

// rowsOf is a recording as the pipeline takes rows.
type rowsOf struct{ in *recording.Reader }

func (r rowsOf) Next(_ context.Context, row *reading.Row) error { return r.in.Next(row) }

// notHeld are the members of an event, at any depth, that goldens leave out:
// codes and values are stable, texts are not.
var notHeld = []string{"text"}

// goldenEvents writes events as the contract's JSON lines, in order of opening
// and without what goldens leave out.
func goldenEvents(events []alert.Event) ([]byte, error) {
	sorted := slices.Clone(events)
	slices.SortStableFunc(sorted, func(a, b alert.Event) int { return a.Opened.Compare(b.Opened) })
	var out bytes.Buffer
	for i := range sorted {
		if err := fits(&sorted[i]); err != nil {
			return nil, err
		}
		line, err := json.Marshal(&sorted[i])
		if err != nil {
			return nil, err
		}
		var ev map[string]any
		dec := json.NewDecoder(bytes.NewReader(line))
		dec.UseNumber()
		if err := dec.Decode(&ev); err != nil {
			return nil, err
		}
		text, err := json.Marshal(held(ev))
		if err != nil {
			return nil, err
		}
		out.Write(append(text, '\n'))
	}
	return out.Bytes(), nil
}

// fits returns an error when evidence or a reason of ev does not fit its
// sentence in the catalogue.
func fits(ev *alert.Event) error {
	items := slices.Clone(ev.Evidence)
	for _, c := range ev.Circuits {
		items = append(items, c.Why...)
	}
	for _, c := range ev.Causes {
		items = append(items, c.Why...)
	}
	for _, i := range items {
		if err := evidence.Check(i); err != nil {
			return fmt.Errorf("event %s: %w", ev.ID, err)
		}
	}
	return nil
}

// held drops the members that goldens leave out of v.
func held(v any) any {
	switch v := v.(type) {
	case map[string]any:
		for _, name := range notHeld {
			delete(v, name)
		}
		for k, x := range v {
			v[k] = held(x)
		}
	case []any:
		for i, x := range v {
			v[i] = held(x)
		}
	}
	return v
}

// The golden form keeps all of an event but its texts.
func TestGoldenEventsHoldFigures(t *testing.T) {
	var ev map[string]any
	if err := json.Unmarshal([]byte(`{"id":"a","floor_k":8.5,"evidence":[{"code":"c","text":"one"}],"causes":[{"cause":"u","score":0.5,"why":[{"code":"w"}]}]}`), &ev); err != nil {
		t.Fatal(err)
	}
	got, err := json.Marshal(held(ev))
	if err != nil {
		t.Fatal(err)
	}
	if want := `{"causes":[{"cause":"u","score":0.5,"why":[{"code":"w"}]}],"evidence":[{"code":"c"}],"floor_k":8.5,"id":"a"}`; string(got) != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// statesDigest makes a short text of all states.
type statesDigest struct {
	w           *pipeline.StatesWriter
	sum         *hashed
	rows        int
	last        analyze.Result
	compressors []digested
}

type digested struct {
	name         string
	phase        map[string]float64 // s
	quality      map[string]float64 // s
	lowest, mean float64            // K of superheat
	n            float64
}

func newStatesDigest(name string) (*statesDigest, error) {
	d := &statesDigest{sum: newHashed()}
	if *statesDir != "" {
		f, err := os.Create(filepath.Join(*statesDir, name+".csv"))
		if err != nil {
			return nil, err
		}
		d.sum.file = f
	}
	var err error
	d.w, err = pipeline.NewStatesWriter(d.sum)
	return d, err
}

func (d *statesDigest) add(r analyze.Result) error {
	if d.compressors == nil {
		for _, s := range r.States {
			d.compressors = append(d.compressors, digested{name: s.Group + "." + s.Name, phase: map[string]float64{}, quality: map[string]float64{}, lowest: math.NaN()})
		}
		d.last.Time = r.Time
	}
	passed := r.Time.Sub(d.last.Time).Seconds()
	d.last.Time = r.Time
	d.rows++
	for i := range r.States {
		s, c := &r.States[i], &d.compressors[i]
		c.phase[s.Phase.String()] += passed
		c.quality[s.Quality.String()] += passed
		if x := float64(s.Superheat); !math.IsNaN(x) {
			c.n++
			c.mean += (x - c.mean) / c.n
			if !(c.lowest <= x) {
				c.lowest = x
			}
		}
	}
	return d.w.Write(r.States)
}

func (d *statesDigest) finish() ([]byte, error) {
	if err := d.w.Flush(); err != nil {
		return nil, err
	}
	if d.sum.file != nil {
		if err := d.sum.file.Close(); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "sha256 %x\nrows %d\n", d.sum.hash.Sum(nil), d.rows)
	for _, c := range d.compressors {
		fmt.Fprintf(&b, "%s\n  phase  %s\n  quality%s\n", c.name, seconds(c.phase), seconds(c.quality))
		if c.n > 0 {
			fmt.Fprintf(&b, "  superheat lowest %.3f K, mean %.3f K, known in %.0f rows\n", c.lowest, c.mean, c.n)
		}
	}
	return b.Bytes(), nil
}

func seconds(by map[string]float64) string {
	var parts []string
	for name, s := range by {
		parts = append(parts, fmt.Sprintf(" %s %.0f s", name, s))
	}
	slices.Sort(parts)
	return strings.Join(parts, ",")
}
