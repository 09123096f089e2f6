package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"dewgap/cmd/dewgap/internal/daemon"
	"dewgap/collector"
	"dewgap/config"
	"dewgap/simulators/devices"
	"dewgap/simulators/store"
)

var (
	soakLength = flag.Duration("soak", 5*time.Second, "how long TestSoak runs")
	soakSpeed  = flag.Float64("soak-speed", 50, "how many times faster than real time TestSoak runs")
)

// jumpingClock is a clock that can be set, as the machine's is by whoever keeps it.
type jumpingClock struct {
	*collector.ScaledClock
	mu       sync.Mutex
	offset   time.Duration
	restarts int
	jumps    []collector.Jump
}

func (c *jumpingClock) Now() time.Time { now, _ := c.read(); return now }

func (c *jumpingClock) read() (time.Time, int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.ScaledClock.Now().Add(c.offset), c.restarts
}

// set puts the clock forward, or back where by is negative.
func (c *jumpingClock) set(by time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.offset += by
	if by < 0 {
		c.restarts++
	}
	c.jumps = append(c.jumps, collector.Jump{At: c.ScaledClock.Now().Add(c.offset), By: by, Restarted: by < 0})
}

// Jumps returns the steps since it was last called.
func (c *jumpingClock) Jumps() []collector.Jump {
	c.mu.Lock()
	defer c.mu.Unlock()
	jumps := c.jumps
	c.jumps = nil
	return jumps
}

// Until waits as a real clock does: a step is noticed within ten seconds.
func (c *jumpingClock) Until(ctx context.Context, t time.Time) error {
	_, before := c.read()
	for {
		now, restarts := c.read()
		switch {
		case restarts != before:
			return collector.ErrSetBack
		case !now.Before(t):
			return ctx.Err()
		}
		if err := c.ScaledClock.Until(ctx, c.ScaledClock.Now().Add(min(t.Sub(now), 10*time.Second))); err != nil {
			return err
		}
	}
}

// uplink takes metrics and messages, while it is not cut off.
type uplink struct {
	cut      atomic.Bool
	taken    atomic.Int64
	refused  atomic.Int64
	requests sync.Map // kind of request
}

func (u *uplink) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if u.cut.Load() {
		u.refused.Add(1)
		panic(http.ErrAbortHandler) // the connection ends without an answer
	}
	if _, err := io.Copy(io.Discard, r.Body); err != nil {
		return // the sender gave up
	}
	u.requests.Store(r.URL.Path, true)
	u.taken.Add(1)
	w.WriteHeader(http.StatusNoContent)
}

// figures are what must not grow.
type figures struct {
	heap                    float64 // MB
	recorded, noted         float64 // MB on the disk: recordings and history, journal and the rest
	goroutines, descriptors int
}

func measure(t *testing.T, data string) (f figures) {
	t.Helper()
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	f.heap, f.goroutines = float64(m.HeapAlloc)/(1<<20), runtime.NumGoroutine()
	open, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("reads /proc")
	}
	f.descriptors = len(open)
	if err := filepath.WalkDir(data, func(path string, e fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // an old recording went
		}
		if err != nil {
			return err
		}
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() {
			size := &f.noted
			if dir := filepath.Base(filepath.Dir(path)); dir == daemon.RecordingsDir || dir == daemon.HistoryDir {
				size = &f.recorded
			}
			*size += float64(info.Size()) / (1 << 20)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return f
}

// oneInAHundred returns a fault for one request in a hundred, of each kind in turn.
func oneInAHundred(random *rand.Rand, timeout time.Duration) func(devices.ModbusRequest) devices.ModbusFault {
	kinds := []devices.ModbusFault{
		{Kind: devices.Silent}, {Kind: devices.Late, Delay: timeout * 3 / 2}, {Kind: devices.Short}, {Kind: devices.Long}, {Kind: devices.WrongCount},
		{Kind: devices.WrongUnit}, {Kind: devices.WrongFunction}, {Kind: devices.WrongTransaction}, {Kind: devices.WrongProtocol},
		{Kind: devices.WrongLength, Length: 255}, {Kind: devices.Reset}, {Kind: devices.Close}, {Kind: devices.Noise}, {Kind: devices.Trailing},
		{Kind: devices.Exception, Code: 4}, {Kind: devices.Exception, Code: 11}, {Kind: devices.WrongException}, {Kind: devices.Twice},
	}
	n := 0
	return func(devices.ModbusRequest) devices.ModbusFault {
		if random.IntN(100) != 0 {
			return devices.ModbusFault{}
		}
		n++
		return kinds[n%len(kinds)]
	}
}

// A daemon over a store's plant, fifty times faster than time: one request in a
// hundred fails, the broker goes away, the clock is set, the uplink is cut, and pages
// and scrapes go on. What it holds does not grow:
//
//	go test ./cmd/dewgap -run TestSoak -v -timeout 25h -soak 24h [-soak-speed 1]
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a while")
	}
	t.Parallel()
	plantStore, start, err := openDemoStore(1)
	if err != nil {
		t.Fatal(err)
	}
	central := &uplink{}
	receiver := httptest.NewUnstartedServer(central)
	receiver.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
	receiver.Start()
	defer receiver.Close()
	listen, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	text := string(plantStore.Config(store.Location{Listen: listen.Addr().String(), Data: data}))
	const timeout = 100 * time.Millisecond // of the network, whose time is real
	for _, c := range [][2]string{
		{`timeout = "1 s"`, fmt.Sprintf("timeout = %q", "100 ms")},
		{`, time = "/time"`, ""}, // the publisher's clock is not set with the daemon's
		{"[daemon]\n", "[daemon]\nrecord_every = \"1 s\"\n"},
	} {
		if !strings.Contains(text, c[0]) {
			t.Fatalf("the configuration has no %q", c[0])
		}
		text = strings.ReplaceAll(text, c[0], c[1])
	}
	text += fmt.Sprintf("\n[[remote_write]]\nname = \"central\"\nurl = \"%s/write\"\nevery = \"30 s\"\n\n[[notify]]\nname = \"on-call\"\nkind = \"webhook\"\nurl = \"%s/hook\"\nseverity = \"risk\"\n", receiver.URL, receiver.URL)
	cfg, err := config.Parse("site.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	cfg.Daemon.RecordLimit = soakRecordings // less than a file may say, so that minutes reach it
	log := slog.New(slog.DiscardHandler)
	plantClock := collector.NewScaledClock(start, *soakSpeed)
	clock := &jumpingClock{ScaledClock: plantClock}
	watcher, err := daemon.Open(daemon.Setting{Config: cfg, Clock: clock, Sources: sourcesOf(clock, log, "soak"), Listen: listen, Log: log, Version: build(), Mode: "demo"})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 2)
	go func() { ended <- plantStore.Run(ctx, plantClock) }()
	go func() { ended <- watcher.Run(ctx) }()
	defer func() {
		cancel()
		for range 2 {
			if err := <-ended; err != nil {
				t.Error(err)
			}
		}
	}()
	page := "http://" + listen.Addr().String() + "/"
	await(t, page+"metrics", "rows", func(text string) bool { return strings.Contains(text, "dewgap_superheat_kelvin{") })
	plantStore.Modbus.Choose(oneInAHundred(rand.New(rand.NewPCG(21, 7)), timeout))

	begun := time.Now()
	var all []figures
	var outages, steps, asked int
	// A short run has one whole round, too.
	second := time.NewTicker(min(time.Second/4, *soakLength/44))
	defer second.Stop()
	client := &http.Client{Timeout: 10 * time.Second}
	defer client.CloseIdleConnections()
	quarter := 0
	// A round of 40 quarters of a second: a clock that is put forward and back, an
	// uplink that is cut for more than half of it, a broker that is away for one quarter of a
	// second in a hundred or so.
	for time.Since(begun) < *soakLength {
		<-second.C
		switch quarter++; quarter % 40 {
		case 5:
			clock.set(time.Hour)
			steps++
		case 10:
			central.cut.Store(true)
			outages++
		case 35:
			central.cut.Store(false)
		case 25:
			clock.set(-time.Hour)
			steps++
		case 30:
			if quarter%80 == 30 {
				if err := plantStore.Broker.Stop(); err != nil {
					t.Fatal(err)
				}
			}
		case 31:
			if err := plantStore.Broker.Start(); err != nil {
				t.Fatal(err)
			}
		case 39:
			all = append(all, measure(t, data))
		}
		for _, path := range []string{"metrics", "api/v1/state", "api/v1/events?limit=20", "api/v1/history?step=5m"} {
			answer, err := client.Get(page + path)
			if err != nil {
				t.Fatal(err)
			}
			_, err = io.Copy(io.Discard, answer.Body)
			answer.Body.Close()
			if err != nil || answer.StatusCode >= 500 && answer.StatusCode != http.StatusServiceUnavailable {
				t.Fatalf("%s: %d, %v", path, answer.StatusCode, err)
			}
			asked++
		}
	}
	central.cut.Store(false)
	for _, path := range []string{"/write", "/hook"} {
		if _, ok := central.requests.Load(path); !ok && *soakLength >= time.Minute {
			t.Errorf("nothing came to %s", path)
		}
	}
	await(t, page+"metrics", "the sources again", func(text string) bool {
		return strings.Contains(text, `dewgap_source_up{site="demo",source="gateway"} 1`) && strings.Contains(text, `dewgap_source_up{site="demo",source="rack-controller"} 1`)
	})
	t.Logf("%s at %g times the speed of time: %d requests at the bus, %d steps of the clock, %d cuts of the uplink, %d answers taken there and %d refused, %d pages asked for",
		soakLength, *soakSpeed, plantStore.Modbus.Requests(), steps, outages, central.taken.Load(), central.refused.Load(), asked)
	for i := 0; i < len(all); i += max(1, len(all)/12) {
		t.Logf("%3.0f %%: %5.1f MB in use, %4.2f and %4.2f MB on the disk, %d goroutines, %d descriptors", 100*float64(i+1)/float64(len(all)), all[i].heap, all[i].recorded, all[i].noted, all[i].goroutines, all[i].descriptors)
	}
	flat(t, all)
}

// soakRecordings is the limit of the recordings, in bytes. In MB, mostRecorded is that
// with one file that is being written and the history; mostNoted is what the journal
// may grow to, with its older file and what lies beside it.
const soakRecordings, mostRecorded, mostNoted = 256 << 10, 0.45, 2*8 + 1

// flat holds that the last third of the figures is no higher than the middle third,
// but for what varies from one moment to the next, and files within their limits. The
// first third fills buffers.
func flat(t testing.TB, all []figures) {
	t.Helper()
	third := len(all) / 3
	if third < 3 {
		return // too short to tell; the run itself is the test
	}
	most := func(part []figures) (m figures) {
		for _, f := range part {
			m.heap, m.recorded, m.noted = max(m.heap, f.heap), max(m.recorded, f.recorded), max(m.noted, f.noted)
			m.goroutines, m.descriptors = max(m.goroutines, f.goroutines), max(m.descriptors, f.descriptors)
		}
		return m
	}
	before, after := most(all[third:2*third]), most(all[2*third:])
	if after.heap > before.heap*1.1+1 || after.recorded > mostRecorded || after.noted > mostNoted || after.goroutines > before.goroutines+8 || after.descriptors > before.descriptors+8 {
		t.Errorf("it grows: %+v in the middle third, %+v in the last", before, after)
	}
}

// What grows is found.
func TestFlatFindsGrowth(t *testing.T) {
	for name, grow := range map[string]func(*figures, int){
		"heap":        func(f *figures, i int) { f.heap += float64(i) },
		"recordings":  func(f *figures, i int) { f.recorded += float64(i) / 10 },
		"journal":     func(f *figures, i int) { f.noted += float64(i) },
		"goroutines":  func(f *figures, i int) { f.goroutines += i },
		"descriptors": func(f *figures, i int) { f.descriptors += i },
	} {
		var all []figures
		for i := range 30 {
			f := figures{heap: 20, recorded: 0.3, noted: 2, goroutines: 60, descriptors: 40}
			grow(&f, i)
			all = append(all, f)
		}
		found := &noting{TB: t}
		if flat(found, all); !found.failed {
			t.Errorf("growth of the %s is not found", name)
		}
	}
}

// noting is a test that notes that it failed.
type noting struct {
	testing.TB
	failed bool
}

func (n *noting) Errorf(string, ...any) { n.failed = true }
func (n *noting) Helper()               {}
