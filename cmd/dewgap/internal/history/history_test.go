package history

import (
	"context"
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/collector/recording"
	"dewgap/config"
)

const golden = "../pipeline/testdata/golden/chilled-rack"

// rowsOf returns the rows of a golden recording, and its site.
func rowsOf(t *testing.T) (analyze.Site, []reading.Row) {
	t.Helper()
	cfg, err := config.Load(golden + ".toml")
	if err != nil {
		t.Fatal(err)
	}
	columns, err := recording.Columns(golden + ".csv.gz")
	if err != nil {
		t.Fatal(err)
	}
	var paths []string
	for _, c := range columns {
		paths = append(paths, c.Point.Path)
	}
	site, err := cfg.ForRecording(paths)
	if err != nil {
		t.Fatal(err)
	}
	r, err := recording.Open(golden+".csv.gz", recording.Lookup(site.Points), site.Atmosphere)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var rows []reading.Row
	for {
		var row reading.Row
		if err := r.Next(&row); err == io.EOF {
			return site, rows
		} else if err != nil {
			t.Fatal(err)
		}
		rows = append(rows, row)
	}
}

// watch keeps rows as the daemon does, with each seen by see; nil for nobody.
func watch(t *testing.T, site analyze.Site, s *Store, rows []reading.Row, see func(analyze.Result)) {
	t.Helper()
	p, err := pipeline.New(site)
	if err != nil {
		t.Fatal(err)
	}
	c := NewCollector(site, s.Add)
	s.Follow(c)
	for i := range rows {
		result, _ := p.Step(&rows[i])
		c.Step(p, result)
		if see != nil {
			see(result)
		}
	}
}

func asText(t *testing.T, a *Answer, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

const limit = 64 << 20

func TestAnswersAreThoseOfTheRows(t *testing.T) {
	site, rows := rowsOf(t)
	s := Open(t.TempDir(), limit)
	at := rows[len(rows)/2].Time.Truncate(time.Minute)
	lowest, highest, sum, n, pulled := math.Inf(1), math.Inf(-1), 0.0, 0.0, 0
	watch(t, site, s, rows, func(r analyze.Result) {
		if r.Time.Truncate(time.Minute).Equal(at) {
			pulled++
			if v := float64(r.States[0].Superheat); !math.IsNaN(v) {
				lowest, highest, sum, n = min(lowest, v), max(highest, v), sum+v, n+1
			}
		}
	})
	if n == 0 {
		t.Fatal("the recording has no superheat in its middle; choose another minute")
	}
	a, err := s.Query(at, at.Add(time.Minute), time.Minute, "")
	if err != nil {
		t.Fatal(err)
	}
	v := a.Values[0]
	if a.Steps != 1 || a.Rows[0] != pulled || v.Value != "superheat" || v.Compressor != site.Groups[0].Compressors[0].Name {
		t.Fatalf("%d steps, %d rows of %d, %+v", a.Steps, a.Rows[0], pulled, v.Series)
	}
	for name, pair := range map[string][2]float64{"min": {*v.Min[0], lowest}, "mean": {*v.Mean[0], sum / n}, "max": {*v.Max[0], highest}} {
		if math.Abs(pair[0]-pair[1]) > 0.0051 {
			t.Errorf("%s %v, of the rows %v", name, pair[0], pair[1])
		}
	}
	seconds := 0.0
	for _, kind := range a.Tracks[0].Seconds {
		seconds += kind[0]
	}
	if seconds != 60 {
		t.Errorf("%v s of phases in a minute", seconds)
	}

	// What is on the disk, and coarser, says the same.
	from, to := rows[0].Time.Truncate(time.Hour), rows[len(rows)-1].Time.Add(time.Second)
	for _, step := range []time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, time.Hour} {
		running, err := s.Query(from, to, step, "")
		before := asText(t, running, err)
		if err := s.Drain(); err != nil {
			t.Fatal(err)
		}
		drained, err := s.Query(from, to, step, "")
		if after := asText(t, drained, err); after != before {
			t.Errorf("step %s: another answer once blocks are on the disk", step)
		}
		total, lowest := 0, math.Inf(1)
		for i, n := range drained.Rows {
			total += n
			if v := drained.Values[0].Min[i]; v != nil {
				lowest = min(lowest, *v)
			}
		}
		if total != len(rows) {
			t.Errorf("step %s: %d rows of %d", step, total, len(rows))
		}
		minutes, err := s.Query(from, to, time.Minute, "")
		if err != nil {
			t.Fatal(err)
		}
		want := math.Inf(1)
		for _, v := range minutes.Values[0].Min {
			if v != nil {
				want = min(want, *v)
			}
		}
		if lowest != want {
			t.Errorf("step %s: lowest %v, by minutes %v", step, lowest, want)
		}
	}
}

func TestRecordingsGiveTheSameAsTheDaemonWrote(t *testing.T) {
	site, rows := rowsOf(t)
	dir := t.TempDir()
	recordings := filepath.Join(dir, "recordings")
	recorder := recording.NewRecorder(recordings, site.Points, recording.Limits{Bytes: limit}, nil)
	for _, row := range rows {
		recorder.Append(row)
	}
	if err := recorder.Close(); err != nil {
		t.Fatal(err)
	}
	live := Open(filepath.Join(dir, "live"), limit)
	watch(t, site, live, rows, nil)
	from, to := rows[0].Time, rows[len(rows)-1].Time.Add(time.Second)
	for _, c := range []struct {
		name string
		lose func(store string) error
	}{
		{"all is missing", os.RemoveAll},
		{"nothing is missing", func(string) error { return nil }},
	} {
		t.Run(c.name, func(t *testing.T) {
			place := filepath.Join(dir, "made")
			if err := c.lose(place); err != nil {
				t.Fatal(err)
			}
			made := Open(place, limit)
			if err := made.Rebuild(context.Background(), site, recordings, to); err != nil {
				t.Fatal(err)
			}
			for _, step := range []time.Duration{time.Minute, 15 * time.Minute} {
				a, err := live.Query(from, to, step, "")
				b, errB := made.Query(from, to, step, "")
				if asText(t, a, err) != asText(t, b, errB) {
					t.Errorf("step %s: replay is not live", step)
				}
			}
		})
	}
}

// An hour that is missing in the middle is made from there, after a lead-in, and what
// was there is not written twice.
func TestAMissingHourIsMade(t *testing.T) {
	site, rows := rowsOf(t)
	dir := t.TempDir()
	recorder := recording.NewRecorder(filepath.Join(dir, "recordings"), site.Points, recording.Limits{Bytes: limit}, nil)
	for _, row := range rows {
		recorder.Append(row)
	}
	if err := recorder.Close(); err != nil {
		t.Fatal(err)
	}
	missing := rows[len(rows)/2].Time.Truncate(time.Hour)
	s := Open(filepath.Join(dir, "history"), limit)
	keep := func(level int, b *block) {
		if !b.From.Equal(missing) {
			s.Add(level, b)
		}
	}
	p, err := pipeline.New(site)
	if err != nil {
		t.Fatal(err)
	}
	c := NewCollector(site, keep)
	for i := range rows {
		result, _ := p.Step(&rows[i])
		c.Step(p, result)
	}
	c.Flush()
	if err := s.Drain(); err != nil {
		t.Fatal(err)
	}
	to := rows[len(rows)-1].Time.Add(time.Second)
	if err := s.Rebuild(context.Background(), site, filepath.Join(dir, "recordings"), to); err != nil {
		t.Fatal(err)
	}
	a, err := s.Query(rows[0].Time, to, time.Minute, "")
	if err != nil {
		t.Fatal(err)
	}
	total := 0
	for _, n := range a.Rows {
		total += n
	}
	if total != len(rows) {
		t.Errorf("%d rows of %d", total, len(rows))
	}
}

func TestDamageCostsWhatComesAfterIt(t *testing.T) {
	site, rows := rowsOf(t)
	dir := t.TempDir()
	s := Open(dir, limit)
	watch(t, site, s, rows, nil)
	if err := s.Drain(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, fileOf(0, rows[0].Time))
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var hours []time.Time
	if whole, err := decode(text, func(b *block) { hours = append(hours, b.From) }); err != nil || whole != len(text) || len(hours) < 2 {
		t.Fatalf("%d of %d bytes, %v, %v", whole, len(text), hours, err)
	}
	if err := os.WriteFile(path, text[:len(text)-5], 0o600); err != nil { // a power cut while the last hour was written
		t.Fatal(err)
	}
	again := Open(dir, limit)
	b := newBlock(layoutOf(site), hours[len(hours)-1], time.Minute)
	b.rows[7] = 3
	again.Add(0, b)
	if err := again.Drain(); err != nil {
		t.Fatal(err)
	}
	m, err := again.Query(b.From, b.From.Add(time.Hour), time.Minute, "")
	if err != nil || m.Rows[7] != 3 || slices.Max(m.Rows) != 3 {
		t.Errorf("%v, %v: want the hour written after the damage, and nothing of the damaged one", m.Rows, err)
	}
	m, err = again.Query(hours[0], hours[0].Add(time.Hour), time.Minute, "")
	if err != nil || slices.Max(m.Rows) == 0 {
		t.Errorf("%v, %v: want what came before the damage", m.Rows, err)
	}
}

func TestTheOldestDaysGoFirst(t *testing.T) {
	dir := t.TempDir()
	day := time.Date(2026, 3, 1, 5, 0, 0, 0, time.UTC)
	one := newBlock(layout{}, day, time.Minute)
	text, err := one.encode()
	if err != nil {
		t.Fatal(err)
	}
	s := Open(dir, int64(len(text))*7/2)
	for i := range 10 {
		s.Add(0, newBlock(layout{}, day.AddDate(0, 0, i), time.Minute))
		if err := s.Drain(); err != nil {
			t.Fatal(err)
		}
	}
	names, err := os.ReadDir(dir)
	if err != nil || len(names) != 3 || names[0].Name() != "minutes-20260308.gz" {
		t.Errorf("%v, %v", names, err)
	}
	if got := s.begins(); !got.Equal(time.Date(2026, 3, 8, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("made from recordings from %s on", got)
	}
}

func TestADiskThatFailsLosesNothing(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "history")
	if err := os.WriteFile(dir, nil, 0o600); err != nil { // a file where the directory should be
		t.Fatal(err)
	}
	s := Open(dir, limit)
	b := newBlock(layout{}, time.Date(2026, 3, 1, 5, 0, 0, 0, time.UTC), time.Minute)
	b.rows[0] = 1
	s.Add(0, b)
	if s.Drain() == nil || s.Fault() == nil {
		t.Fatal("no fault")
	}
	if err := os.Remove(dir); err != nil {
		t.Fatal(err)
	}
	if err := s.Drain(); err != nil || s.Fault() != nil {
		t.Fatal(err, s.Fault())
	}
	a, err := s.Query(b.From, b.From.Add(time.Minute), time.Minute, "")
	if err != nil || a.Rows[0] != 1 {
		t.Errorf("%+v, %v", a, err)
	}
	for range 2 * maxWaiting {
		s.Add(0, b)
	}
	if n := len(s.waiting); n != maxWaiting {
		t.Errorf("%d blocks wait, bound %d", n, maxWaiting)
	}
}

func TestWhatCannotBeAnswered(t *testing.T) {
	from := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		span, step time.Duration
		want       string
	}{
		{time.Hour, time.Minute, ""},
		{90 * 24 * time.Hour, StepFor(90 * 24 * time.Hour), ""},
		{MaxSpan, StepFor(MaxSpan), ""},
		{3000 * time.Minute, time.Minute, ""},
		{3001 * time.Minute, time.Minute, "3000 are the most"},
		{0, time.Minute, "is not after from"},
		{-time.Hour, time.Minute, "is not after from"},
		{MaxSpan + 24*time.Hour, 24 * time.Hour, "400 are the most"},
		{time.Hour, time.Second, "whole number of minutes"},
		{time.Hour, 0, "whole number of minutes"},
		{time.Hour, 90 * time.Second, "whole number of minutes"},
		{time.Hour, 7 * time.Minute, "divides a day"},
		{10 * 24 * time.Hour, 48 * time.Hour, "divides a day"},
	} {
		err := Check(from, from.Add(c.span), c.step)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s by %s: %v, want %q", c.span, c.step, err, c.want)
		}
	}
}

func FuzzBlocks(f *testing.F) {
	b := newBlock(layout{[]Series{{Group: "g", Compressor: "c", Value: "superheat", Unit: "K"}}, []Track{{Group: "g", Compressor: "c", Kinds: []string{"off"}}}}, time.Unix(0, 0), 15*time.Minute)
	b.values[0].add(2, 7.5)
	text, err := b.encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add(append(slices.Clone(text), text[:20]...))
	f.Fuzz(func(t *testing.T, text []byte) {
		var all []*block
		whole, err := decode(text, func(b *block) { all = append(all, b) })
		if whole > len(text) || (err == nil) != (whole == len(text)) {
			t.Fatalf("%d bytes of %d, %v", whole, len(text), err)
		}
		again := 0
		if n, err := decode(text[:whole], func(*block) { again++ }); err != nil || n != whole || again != len(all) {
			t.Fatalf("what is whole is not: %d, %d blocks of %d, %v", n, again, len(all), err)
		}
	})
}
