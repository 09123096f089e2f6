package main

import (
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/collector/recording"
	"dewgap/config"
)

// samplesOf reads lines "SERIES VALUE [SECONDS]"; the instant is 0 where there is
// none.
func samplesOf(t *testing.T, text string) map[float64]map[string]float64 {
	t.Helper()
	all := map[float64]map[string]float64{}
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		end := strings.LastIndexByte(line, '}') + 1
		cells := strings.Fields(line[end:])
		if end == 0 && len(cells) > 0 {
			continue // of the runtime
		}
		value, err := strconv.ParseFloat(cells[0], 64)
		if err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		at := 0.0
		if len(cells) > 1 {
			if at, err = strconv.ParseFloat(cells[1], 64); err != nil {
				t.Fatalf("%q: %v", line, err)
			}
		}
		if all[at] == nil {
			all[at] = map[string]float64{}
		}
		name, labels, _ := strings.Cut(line[:end-1], "{") // no value of a label has a comma
		sorted := strings.Split(labels, ",")
		slices.Sort(sorted)
		series := name + "{" + strings.Join(sorted, ",") + "}"
		if _, twice := all[at][series]; twice {
			t.Fatalf("%s is there twice at %g", series, at)
		}
		all[at][series] = value
	}
	return all
}

// ofGateway are the metrics that no recording holds.
var ofGateway = regexp.MustCompile(`^dewgap_(build_info|source_|notify_|fault_active|journal_|ledger_|late_rows|maintenance_)`)

// rowTimeOf finds the instant of a scrape.
func rowTimeOf(samples map[string]float64) float64 {
	for series, v := range samples {
		if strings.HasPrefix(series, "dewgap_row_timestamp_seconds{") {
			return v
		}
	}
	return 0
}

// scrapes runs the demo and asks for its metrics all the while.
func scrapes(t *testing.T, data, conf string) []map[string]float64 {
	t.Helper()
	out, in := io.Pipe()
	ended := make(chan error, 1)
	go func() {
		demo := demoCmd{Listen: "127.0.0.1:0", Speed: 200, For: 9 * time.Second, WriteConfig: conf, Data: data, Seed: 1}
		err := demo.Run(context.Background(), console{Out: in, Err: io.Discard})
		in.Close()
		ended <- err
	}()
	var address string
	if _, err := fmt.Fscanln(out, &address); err != nil {
		t.Fatal(err)
	}
	go func() { _, _ = io.Copy(io.Discard, out) }() // until in is closed
	var all []map[string]float64
	for {
		answer, err := http.Get(address + "metrics")
		if err != nil {
			break // it has ended
		}
		text, err := io.ReadAll(answer.Body)
		answer.Body.Close()
		if err != nil {
			break
		}
		samples := samplesOf(t, string(text))[0]
		if rowTimeOf(samples) > 0 {
			all = append(all, samples)
		}
	}
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	return all
}

// ofLedger reports whether a metric comes from the ledger.
func ofLedger(name string) bool {
	return strings.HasSuffix(name, "_total") || name == "dewgap_superheat_lowest_kelvin"
}

// What is exported for an instant is what was scraped at it. What the daemon shows
// of the ledger is what is on the disk, so it may be that of an earlier row; the age of an input has the milliseconds between row and scrape in it.
func TestExportEqualsScrape(t *testing.T) {
	dir := t.TempDir()
	conf, data := filepath.Join(dir, "conf"), filepath.Join(dir, "data")
	live := scrapes(t, data, conf)
	file := filepath.Join(dir, "all.txt")
	if code, _, errs := called(t, "export", "--metrics", "--config", filepath.Join(conf, "site.toml"), "--data", data, "--every", "1ms", "--out", file); code != 0 || errs != "" {
		t.Fatalf("status %d: %s", code, errs)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasSuffix(string(text), "\n# EOF\n") {
		t.Error("no # EOF at the end")
	}
	exported := samplesOf(t, string(text))
	counted := map[string][]float64{} // values of each counter over time
	for _, at := range slices.Sorted(func(yield func(float64) bool) {
		for at := range exported {
			if !yield(at) {
				return
			}
		}
	}) {
		for series, v := range exported[at] {
			if name, _, _ := strings.Cut(series, "{"); ofLedger(name) {
				counted[series] = append(counted[series], v)
			}
		}
	}
	compared, events := 0, 0
	instants := map[float64]bool{}
	for _, scraped := range live {
		at := rowTimeOf(scraped)
		instants[at] = true
		there := exported[at]
		if there == nil {
			t.Fatalf("nothing is exported for %f", at)
		}
		for series, v := range scraped {
			name, _, _ := strings.Cut(series, "{")
			if ofGateway.MatchString(name) || !strings.HasPrefix(name, "dewgap_") {
				continue
			}
			compared++
			got, ok := there[series]
			switch {
			case !ok:
				t.Fatalf("%f: %s is not exported", at, series)
			case ofLedger(name):
				if strings.HasSuffix(name, "_total") && v > got || v != 0 && !slices.Contains(counted[series], v) {
					t.Errorf("%f: %s is %g, scraped as %g", at, series, got, v)
				}
			case name == "dewgap_input_age_seconds":
				if !(v-got >= -1e-9 && v-got < 5) {
					t.Errorf("%f: %s is %g, scraped as %g", at, series, got, v)
				}
			case got != v:
				t.Errorf("%f: %s is %g, scraped as %g", at, series, got, v)
			}
			if name == "dewgap_event_info" {
				events++
			}
		}
		for series := range there {
			name, _, _ := strings.Cut(series, "{")
			if _, ok := scraped[series]; !ok && !ofLedger(name) {
				t.Errorf("%f: %s is exported and was not scraped", at, series)
			}
		}
		if t.Failed() {
			break
		}
	}
	t.Logf("%d values at %d instants", compared, len(instants))
	if len(instants) < 5 || events == 0 {
		t.Errorf("%d instants, %d values of open events", len(instants), events)
	}
}

// Any form of any span is what the whole has in it.
func TestExportOfASpan(t *testing.T) {
	dir := t.TempDir()
	conf, day := demoDay(t, dir, "3h")
	from, to := "2026-03-02T05:30:00Z", "2026-03-02T06:10:00Z"
	begin, end := time.Date(2026, 3, 2, 5, 30, 0, 0, time.UTC), time.Date(2026, 3, 2, 6, 10, 0, 0, time.UTC)
	read := func(args ...string) string {
		t.Helper()
		out := filepath.Join(dir, "out-"+strings.NewReplacer("/", "", " ", "").Replace(strings.Join(args, "")))
		args = append(append([]string{"export", "--config", conf, "--out", out}, args...), day)
		if code, stdout, errs := called(t, args...); code != 0 || stdout != "" || errs != "" {
			t.Fatalf("%v: status %d: %s", args, code, errs)
		}
		text, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	// inSpan cuts lines that begin with a time.
	inSpan := func(text string) string {
		head, rest, _ := strings.Cut(text, "\n")
		kept := head + "\n"
		for line := range strings.Lines(rest) {
			cell, _, _ := strings.Cut(line, ",")
			at, err := time.Parse(time.RFC3339Nano, cell)
			if err != nil {
				t.Fatal(err)
			}
			if !at.Before(begin) && at.Before(end) {
				kept += line
			}
		}
		return kept
	}
	for _, what := range []string{"--states", "--recording"} {
		whole, part := read(what), read(what, "--from", from, "--to", to)
		if part != inSpan(whole) {
			t.Errorf("%s of the span differs from the whole's part", what)
		}
		if n := strings.Count(part, "\n"); n < 2 || strings.Count(whole, "\n") <= n {
			t.Errorf("%s: %d lines of the span, %d in all", what, n, strings.Count(whole, "\n"))
		}
	}
	states := filepath.Join(dir, "states.csv")
	if code, _, errs := called(t, "replay", "--config", conf, "--states", states, day); code != 0 {
		t.Fatal(errs)
	}
	if want, err := os.ReadFile(states); err != nil || string(want) != read("--states", "--format", "csv") {
		t.Errorf("the states are not those of a replay: %v", err)
	}
	// OpenMetrics and CSV hold the same samples, at each quarter of a minute.
	text := samplesOf(t, read("--metrics", "--from", from, "--to", to))
	csv := read("--metrics", "--format", "csv", "--from", from, "--to", to)
	n := 0
	for _, samples := range text {
		n += len(samples)
	}
	if lines := strings.Count(csv, "\n") - 1; lines != n || len(text) != 160 {
		t.Errorf("%d samples as OpenMetrics at %d instants of 160, %d as CSV", n, len(text), lines)
	}
	at := 0.0
	for a := range text {
		at = max(at, a)
	}
	if want := time.Date(2026, 3, 2, 6, 9, 45, 0, time.UTC); at != float64(want.Unix()) {
		t.Errorf("the last instant is %f, want %d", at, want.Unix())
	}
	superheat := `dewgap_superheat_kelvin{compressor="c1",group="mt",site="demo"}`
	line := "2026-03-02T06:09:45Z,dewgap_superheat_kelvin,demo,mt,c1,"
	if v, ok := text[at][superheat]; !ok || !regexp.MustCompile(`(?m)^`+regexp.QuoteMeta(line)+`,*`+strconv.FormatFloat(v, 'g', -1, 64)+`$`).MatchString(csv) {
		t.Errorf("superheat %g, %t; the CSV has another", v, ok)
	}
	inputs := samplesOf(t, read("--recording", "--format", "openmetrics", "--every", "1m"))
	for at, samples := range inputs {
		for series := range samples {
			if !strings.HasPrefix(series, "dewgap_input") && !strings.HasPrefix(series, "dewgap_coil_outlet") && !strings.HasPrefix(series, "dewgap_air") && !strings.HasPrefix(series, "dewgap_discharge") && !strings.HasPrefix(series, "dewgap_sump") {
				t.Fatalf("%f: %s is of no input", at, series)
			}
		}
	}
	if len(inputs) < 180 {
		t.Errorf("%d instants of inputs in three hours", len(inputs))
	}
}

// Counters that would be lower than the daemon's are left out.
func TestExportLeavesOutPartialCounters(t *testing.T) {
	dir := t.TempDir()
	conf, day := demoDay(t, dir, "3h")
	data := filepath.Join(dir, "data")
	liveDay(t, conf, day, data, func(*pipeline.Pipeline, *alert.Journal, []alert.Change) {})
	text, err := os.ReadFile(day)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(text), "\n")
	late := filepath.Join(dir, "late.csv")
	if err := os.WriteFile(late, []byte(lines[0]+strings.Join(lines[1000:], "")), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		recording string
		counters  bool
	}{{day, true}, {late, false}} {
		out := filepath.Join(dir, "out.txt.gz")
		code, _, errs := called(t, "export", "--metrics", "--every", "10m", "--force", "--config", conf, "--data", data, "--out", out, c.recording)
		if code != 0 || strings.Contains(errs, "counters are left out") == c.counters {
			t.Fatalf("status %d: %s", code, errs)
		}
		f, err := os.Open(out)
		if err != nil {
			t.Fatal(err)
		}
		z, err := gzip.NewReader(f)
		if err != nil {
			t.Fatal(err)
		}
		all, err := io.ReadAll(z)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(all), "_total{") != c.counters || !strings.Contains(string(all), "dewgap_superheat_kelvin{") {
			t.Errorf("%s: counters are there: %t", c.recording, !c.counters)
		}
	}
}

func TestExportSaysWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	conf, day := demoDay(t, dir, "10m")
	for _, c := range []struct {
		args []string
		want string
		code int
	}{
		{[]string{}, "give --metrics, --states, --recording or --episodes", 2},
		{[]string{"--metrics", "--states"}, "one thing at a time", 2},
		{[]string{"--metrics", "--hide-dates"}, "--hide-dates is for --episodes", 2},
		{[]string{"--episodes", "--from", "2026-03-01"}, "not for --episodes", 2},
		{[]string{"--metrics", "--from", "yesterday"}, "--from \"yesterday\" is no time", 2},
		{[]string{"--metrics", "--from", "2026-03-02", "--to", "2026-03-02"}, "is not after --from", 2},
		{[]string{"--metrics", "--every=-1s"}, "is no time between samples", 2},
		{[]string{"--metrics", "--format", "xml"}, "openmetrics", 2},
		{[]string{"--metrics", "--to", "2020-01-01"}, "no row lies in the span", 0},
		{[]string{"--metrics", "--out", day}, "which this command reads", 1},
	} {
		args := append([]string{"export", "--config", conf, "--out", filepath.Join(dir, "out"), "--force"}, c.args...)
		if slices.Contains(c.args, "--episodes") || slices.Contains(c.args, "--hide-dates") {
			args = slices.DeleteFunc(args, func(a string) bool { return a == "--force" })
		}
		code, _, errs := called(t, append(args, day)...)
		if code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: status %d, want %d with %q: %s", c.args, code, c.code, c.want, errs)
		}
	}
	if left, err := filepath.Glob(filepath.Join(dir, ".dewgap-export-*")); err != nil || len(left) > 0 {
		t.Errorf("the spool stays: %v, %v", left, err)
	}
}

// A Prometheus takes the export as blocks, and has what is in it.
func TestExportByPromtool(t *testing.T) {
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("needs promtool; set DEWGAP_PEERS=1")
	}
	dir := t.TempDir()
	conf, day := demoDay(t, dir, "5h")
	file, blocks := filepath.Join(dir, "all.txt"), filepath.Join(dir, "blocks")
	if code, _, errs := called(t, "export", "--metrics", "--config", conf, "--out", file, day); code != 0 {
		t.Fatal(errs)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	want := 0
	var superheat float64
	for at, samples := range samplesOf(t, string(text)) {
		want += len(samples)
		if v, ok := samples[`dewgap_superheat_kelvin{compressor="c1",group="mt",site="demo"}`]; ok && at == float64(time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC).Unix()) {
			superheat = v
		}
	}
	promtool := func(args ...string) string {
		t.Helper()
		out, err := exec.CommandContext(t.Context(), "promtool", args...).CombinedOutput()
		if err != nil {
			t.Fatalf("promtool %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	listed := promtool("tsdb", "create-blocks-from", "openmetrics", file, blocks)
	stored := 0
	for line := range strings.Lines(listed) {
		if cells := strings.Fields(line); len(cells) == 8 && cells[0] != "BLOCK" {
			n, err := strconv.Atoi(cells[4])
			if err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			stored += n
		}
	}
	if stored != want || want == 0 {
		t.Errorf("%d samples in the blocks, %d in the export:\n%s", stored, want, listed)
	}
	if err := os.Mkdir(filepath.Join(blocks, "wal"), 0o755); err != nil { // without one nothing is dumped
		t.Fatal(err)
	}
	dump := promtool("tsdb", "dump", "--match", `dewgap_superheat_kelvin{compressor="c1",group="mt"}`, blocks)
	found := false
	for line := range strings.Lines(dump) {
		if strings.HasSuffix(strings.TrimSpace(line), strconv.FormatInt(time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC).UnixMilli(), 10)) {
			cells := strings.Fields(line[strings.LastIndexByte(line, '}')+1:])
			v, err := strconv.ParseFloat(cells[0], 64)
			found = err == nil && math.Abs(v-superheat) < 1e-6
		}
	}
	if !found {
		t.Errorf("the blocks have no superheat of %g at 06:00:\n%.500s", superheat, dump)
	}
}

// Of a large recording only the day before the span is read, unless the counters
// need the rest: what was damaged before it does not matter to the others.
func TestExportBeginsADayBeforeTheSpan(t *testing.T) {
	dir := t.TempDir()
	conf, day := filepath.Join(dir, "site.toml"), filepath.Join(dir, "day.csv")
	if code, _, errs := called(t, "simulate", "--scenario", "capillary-cabinet", "--for", "28h", "--step", "1m", "--out", day, "--config", conf); code != 0 {
		t.Fatal(errs)
	}
	cfg, err := config.Load(conf)
	if err != nil {
		t.Fatal(err)
	}
	in, err := openRecordings(cfg, []string{day}, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	recorder := recording.NewRecorder(filepath.Join(dir, "data"), in.site.Points, recording.Limits{Bytes: 1 << 30}, nil)
	var row reading.Row
	var last time.Time
	for in.Next(t.Context(), &row) == nil {
		recorder.Append(row)
		last = row.Time
	}
	if err := recorder.Close(); err != nil {
		t.Fatal(err)
	}
	files, err := recording.Files(filepath.Join(dir, "data"))
	if err != nil || len(files) != 1 {
		t.Fatalf("%v, %v", files, err)
	}
	export := func(what, from string) (status int, text, errs string) {
		out := filepath.Join(dir, "out")
		code, _, errs := called(t, "export", what, "--from", from, "--force", "--config", conf, "--out", out, files[0].Path)
		all, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		return code, string(all), errs
	}
	from := last.Add(-time.Hour).Format(time.RFC3339)
	want := map[string]string{}
	for _, what := range []string{"--states", "--recording"} {
		code, text, errs := export(what, from)
		if code != 0 || strings.Count(text, "\n") < 61 {
			t.Fatalf("%s: status %d, %d lines: %s", what, code, strings.Count(text, "\n"), errs)
		}
		want[what] = text
	}
	f, err := os.OpenFile(files[0].Path, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	index, err := os.ReadFile(files[0].Path + ".index")
	if err != nil {
		t.Fatal(err)
	}
	var second int64 // where the second hour begins
	if _, err := fmt.Sscan(strings.Split(string(index), "\n")[2], &second); err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt(make([]byte, 200), second+40); err != nil {
		t.Fatal(err)
	}
	for what, want := range want {
		if code, text, errs := export(what, from); code != 0 || text != want {
			t.Errorf("%s: status %d, the same: %t: %s", what, code, text == want, errs)
		}
	}
	if code, _, errs := export("--metrics", from); code == 0 || !strings.Contains(errs, "row") {
		t.Errorf("counters of a damaged recording: status %d: %s", code, errs)
	}
	if code, _, _ := export("--states", last.Add(-27*time.Hour).Format(time.RFC3339)); code == 0 {
		t.Error("what is damaged was exported")
	}
}
