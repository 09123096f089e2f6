package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/analyze/trend"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/collector"
	"dewgap/config"
)

// wetSuction is a plant whose first compressor runs on wet gas: 0.2 K of superheat.
type wetSuction struct {
	points []reading.Point
	clock  collector.Clock
	runs   *[]string // one entry a start
}

func (w wetSuction) Name() string { return "io" }
func (w wetSuction) Status() collector.Status {
	return collector.Status{Name: "io", Up: true, Delivered: true}
}

func (w wetSuction) Run(ctx context.Context, out collector.Sink) error {
	*w.runs = append(*w.runs, "start")
	for ctx.Err() == nil {
		for i, p := range w.points {
			r := reading.Reading{Point: i, Quality: reading.Good, Value: 1}
			switch p.Role.Kind() {
			case reading.Pressure:
				r.Value = 2.5e5
			case reading.Temperature:
				r.Value = -15
			}
			out.Put(r)
		}
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
	}
	return nil
}

const siteText = `
[site]
name = "demo"
[daemon]
data = %q
sample = "5 s"
[[modbus]]
name = "io"
address = "127.0.0.1:1"
[[suction_group]]
name = "mt"
refrigerant = "R448A"
floor = { steady = "%d K" }
suction_pressure = { modbus = "io", unit_id = 1, input = 0, type = "int16", unit = "bara" }
%s`

const compressorText = `
  [[suction_group.compressor]]
  name = %q
  suction_temperature = { modbus = "io", unit_id = 1, input = 1, type = "int16", unit = "degC" }
  running = { modbus = "io", unit_id = 1, discrete = 0 }
`

// harness is a daemon without page in fake time, and what a test sees of it.
type harness struct {
	*Daemon
	t      *testing.T
	sighup chan os.Signal
	log    *bytes.Buffer
	runs   []string
	stop   func()
	fails  bool // the end reports rows that could not be recorded

	mu   sync.Mutex
	text string // of the configuration
	err  error  // of reading it
}

func (h *harness) load() (*config.Config, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.err != nil {
		return nil, h.err
	}
	return config.Parse("site.toml", []byte(h.text))
}

// write changes the file and makes the daemon read it again.
func (h *harness) write(text string, err error) {
	h.mu.Lock()
	h.text, h.err = text, err
	h.mu.Unlock()
	h.sighup <- syscall.SIGHUP
	h.pass(11 * time.Second)
}

func (h *harness) pass(d time.Duration) {
	<-time.After(d) // fake time of synctest
	synctest.Wait()
}

// metric returns the value of a line of the exposition.
func (h *harness) metric(name string) string {
	families, err := metrics.NewRegistry(h.board, h.Version).Gather()
	if err != nil {
		h.t.Fatal(err)
	}
	for _, f := range families {
		for _, m := range f.Metric {
			for _, l := range m.Label {
				if f.GetName()+" "+l.GetValue() == name {
					return fmt.Sprint(m.GetGauge().GetValue())
				}
			}
		}
	}
	return ""
}

func newHarness(t *testing.T, text string, clock collector.Clock) *harness {
	t.Helper()
	b := &harness{t: t, text: text, sighup: make(chan os.Signal, 1), log: &bytes.Buffer{}}
	cfg, err := b.load()
	if err != nil {
		t.Fatal(err)
	}
	b.Daemon, err = Open(Setting{
		Config: cfg, Clock: clock, Reload: b.load, ReloadRequests: b.sighup, Log: slog.New(slog.NewTextHandler(b.log, nil)),
		Sources: func(c *config.Config) ([]collector.Source, error) {
			return []collector.Source{wetSuction{c.Site.Points, clock, &b.runs}}, nil
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	b.saveAtEnd()
	go func() { done <- b.work(ctx) }()
	b.stop = func() {
		cancel()
		if err := errors.Join(<-done, b.Close()); (err != nil) != b.fails {
			t.Error(err)
		}
	}
	return b
}

func (h *harness) open() (events []alert.Event) {
	for _, ev := range h.journal.Open() {
		if ev.Kind == "floodback" {
			events = append(events, ev)
		}
	}
	return events
}

// TestTrap33ReloadWithAFaultChangesNothing, and says so.
func TestTrap33ReloadWithAFaultChangesNothing(t *testing.T) {
	dir := t.TempDir()
	good := fmt.Sprintf(siteText, dir, 11, fmt.Sprintf(compressorText, "c1"))
	for name, c := range map[string]struct {
		text string
		err  error
		want string
	}{
		"a fault in the text":     {strings.Replace(good, "R448A", "R999", 1), nil, "R999"},
		"a key that nobody knows": {good + "\nspeed = 3\n", nil, "speed"},
		"no source":               {strings.Replace(good, `, type = "int16", unit = "bara"`, `, unit = "bara"`, 1), nil, "type"},
		"keys too deep":           {good + strings.Repeat("a.", 20_000) + "a = 1\n", nil, "nested deeper"}, // trap 54
		"no file":                 {"", errors.New("site.toml: no such file"), "no such file"},
	} {
		t.Run(name, func(t *testing.T) {
			os.RemoveAll(dir)
			synctest.Test(t, func(t *testing.T) {
				b := newHarness(t, good, collector.NewRealClock())
				b.pass(10 * time.Minute)
				before, current := b.open(), b.current
				if len(before) != 1 || b.metric("dewgap_fault_active config") != "0" {
					t.Fatalf("%d floodback events, fault %q", len(before), b.metric("dewgap_fault_active config"))
				}
				b.write(c.text, c.err)
				b.pass(time.Minute)
				snap, _ := b.board.Current()
				if b.current != current || len(b.runs) != 1 {
					t.Errorf("something changed: %d starts of the source", len(b.runs))
				}
				if !strings.Contains(snap.ConfigFault, c.want) || !strings.Contains(b.log.String(), c.want) || b.metric("dewgap_fault_active config") != "1" {
					t.Errorf("fault %q, metric %q, log %s", snap.ConfigFault, b.metric("dewgap_fault_active config"), b.log)
				}
				if after := b.open(); len(after) != 1 || after[0].ID != before[0].ID || !snap.Time.After(before[0].Opened.Add(time.Minute)) {
					t.Errorf("before %+v, after %+v", before, after)
				}
				b.write(good, nil)
				if snap, _ := b.board.Current(); snap.ConfigFault != "" || b.metric("dewgap_fault_active config") != "0" {
					t.Errorf("mended, and still %q", snap.ConfigFault)
				}
				b.stop()
			})
		})
	}
}

// TestTrap33ReloadTakesOver: a good configuration takes over and loses neither
// events nor exposure.
func TestTrap33ReloadTakesOver(t *testing.T) {
	dir := t.TempDir()
	c1 := fmt.Sprintf(compressorText, "c1")
	synctest.Test(t, func(t *testing.T) {
		b := newHarness(t, fmt.Sprintf(siteText, dir, 11, c1), collector.NewRealClock())
		b.pass(10 * time.Minute)
		first := b.open()
		if len(first) != 1 {
			t.Fatal(first)
		}
		seconds := func() float64 { snap, _ := b.board.Current(); return snap.Totals[0].FloodbackSeconds }
		before, line := seconds(), b.current.pipeline

		b.write(fmt.Sprintf(siteText, dir, 11, c1), nil)
		b.pass(time.Minute)
		if b.current.pipeline != line || len(b.runs) != 2 {
			t.Errorf("the same site: analysis starts again %v, %d starts of the source", b.current.pipeline != line, len(b.runs))
		}
		if s := seconds(); s < before+50 {
			t.Errorf("the same site: exposure %v s after %v s", s, before)
		}
		before = seconds()

		b.write(fmt.Sprintf(siteText, dir, 8, c1), nil)
		b.pass(time.Minute)
		if snap, _ := b.board.Current(); b.current.pipeline == line || snap.States[0].Floor != 8 {
			t.Errorf("another floor: %+v", snap.States[0])
		}
		if now := b.open(); len(now) != 1 || now[0].ID != first[0].ID || seconds() < before {
			t.Errorf("another floor: %+v after %+v, exposure %v s after %v s", now, first, seconds(), before)
		}

		b.write(fmt.Sprintf(siteText, dir, 8, c1+strings.ReplaceAll(fmt.Sprintf(compressorText, "c2"), "input = 1", "input = 2")), nil)
		b.pass(10 * time.Minute)
		if now := b.open(); len(now) != 2 || now[0].ID != first[0].ID || now[1].Compressor != "c2" {
			t.Errorf("one more compressor: %+v", now)
		}

		b.write(fmt.Sprintf(siteText, dir, 8, fmt.Sprintf(compressorText, "c2")), nil)
		b.pass(time.Minute)
		if now := b.open(); len(now) != 1 || now[0].Compressor != "c2" {
			t.Errorf("one compressor less: %+v", now)
		}
		b.stop()
		for _, ev := range b.journal.Events(time.Time{}, false) {
			if ev.ID == first[0].ID && (ev.Closed == nil || !strings.Contains(strings.Join(evidence.Renderer{}.Texts(ev.Evidence), " "), "no longer configured")) {
				t.Errorf("the event of the compressor that is gone: %+v", ev)
			}
		}
	})
}

// TestRestartKeepsTheDaysOfTrends: what was kept day by day is there after a
// restart and after a reload of another site, and written again.
func TestRestartKeepsTheDaysOfTrends(t *testing.T) {
	dir := t.TempDir()
	c1 := fmt.Sprintf(compressorText, "c1")
	synctest.Test(t, func(t *testing.T) {
		book, _, err := alert.OpenTrendStore(dir)
		if err != nil {
			t.Fatal(err)
		}
		kept := []trend.Days{{Of: trend.Of{Group: "mt", Compressor: "c1", Quantity: trend.InPulldown.Code()}}}
		for i := range 7 {
			day := time.Now().AddDate(0, 0, i-7).UTC()
			kept[0].Days = append(kept[0].Days, trend.Day{Date: day.Format(time.DateOnly), Value: 12 - 0.4*float64(i)})
		}
		if err := book.Save(time.Now(), func() []trend.Days { return kept }, true); err != nil {
			t.Fatal(err)
		}
		b := newHarness(t, fmt.Sprintf(siteText, dir, 11, c1), collector.NewRealClock())
		for _, floor := range []int{11, 10} {
			b.write(fmt.Sprintf(siteText, dir, floor, c1), nil)
			b.pass(time.Minute)
			if snap, _ := b.board.Current(); len(snap.Notices) != 1 || snap.Notices[0].Compressor != "c1" || snap.Notices[0].Observed != 7 {
				t.Errorf("floor %d: notices %+v", floor, snap.Notices)
			}
		}
		b.stop()
		if _, days, err := alert.OpenTrendStore(dir); err != nil || len(days) != 1 || len(days[0].Days) != 7 {
			t.Errorf("kept %+v, %v", days, err)
		}
	})
}

// TestTrap33ReloadWithADiskThatFails: what cannot be recorded does not end the
// watch.
func TestTrap33ReloadWithADiskThatFails(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(dir+"/"+RecordingsDir, []byte("in the way"), 0o600); err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprintf(siteText, dir, 11, fmt.Sprintf(compressorText, "c1"))
	synctest.Test(t, func(t *testing.T) {
		b := newHarness(t, text, collector.NewRealClock())
		b.pass(time.Minute)
		b.write(text, nil)
		b.pass(time.Minute)
		snap, _ := b.board.Current()
		if len(b.runs) != 2 || time.Since(snap.Time) > 10*time.Second {
			t.Errorf("%d starts of the source, last row %v ago:\n%s", len(b.runs), time.Since(snap.Time), b.log)
		}
		b.fails = true
		b.stop()
	})
}

// correctedClock is a clock that shows a time years ahead until it is put right.
type correctedClock struct {
	*collector.RealClock
	mu    sync.Mutex
	ahead time.Duration
	jumps []collector.Jump
}

func (c *correctedClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.RealClock.Now().Add(c.ahead)
}

func (c *correctedClock) set() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.jumps = append(c.jumps, collector.Jump{At: c.RealClock.Now(), By: -c.ahead, Restarted: true})
	c.ahead = 0
}

func (c *correctedClock) Jumps() []collector.Jump {
	c.mu.Lock()
	defer c.mu.Unlock()
	j := c.jumps
	c.jumps = nil
	return j
}

func (c *correctedClock) Until(ctx context.Context, t time.Time) error {
	c.mu.Lock()
	ahead := c.ahead
	c.mu.Unlock()
	return c.RealClock.Until(ctx, t.Add(-ahead))
}

// TestTrap29ClockPutRightAfterYears: the daemon's times follow, what was open
// ends with the wrong time, and what still holds opens a new event.
func TestTrap29ClockPutRightAfterYears(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		clock := &correctedClock{RealClock: collector.NewRealClock(), ahead: 10 * 365 * 24 * time.Hour}
		b := newHarness(t, fmt.Sprintf(siteText, dir, 11, fmt.Sprintf(compressorText, "c1")), clock)
		b.pass(10 * time.Minute)
		first := b.open()
		snap, _ := b.board.Current()
		seconds := snap.Totals[0].FloodbackSeconds
		if len(first) != 1 || time.Until(snap.Time) < 9*365*24*time.Hour {
			t.Fatal(first, snap.Time)
		}
		clock.set()
		b.pass(10 * time.Minute)
		snap, _ = b.board.Current()
		if off := time.Since(snap.Time).Abs(); off > 6*time.Second {
			t.Errorf("rows are %v off", off)
		}
		second := b.open()
		if len(second) != 1 || second[0].Opened.After(time.Now()) || snap.Totals[0].FloodbackSeconds < seconds+300 {
			t.Errorf("after: %+v, exposure %v s after %v s", second, snap.Totals[0].FloodbackSeconds, seconds)
		}
		for _, ev := range b.journal.Events(time.Time{}, false) {
			if ev.ID == first[0].ID && (ev.Closed == nil || ev.Closed.Before(ev.Opened)) {
				t.Errorf("the event of the wrong time: %+v", ev)
			}
		}
		b.stop()
	})
}
