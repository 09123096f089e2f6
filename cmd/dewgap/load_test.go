package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/collector"
	"dewgap/simulators/store"
)

var fullLoad = flag.Bool("full-load", false, "TestTrap51TheLoadThatBrokeIt with all its clients and for longer")

// mostMemory is the resident memory that the daemon may ever have had, in MB. Under
// MemoryMax=128M it lives.
const mostMemory = 128

// procOf reads what Linux shows of a process.
func procOf(t *testing.T, pid int, name string) string {
	t.Helper()
	if runtime.GOOS != "linux" {
		t.Skip("reads /proc")
	}
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", pid, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// memoryOf returns the resident memory of a process in MB: now, and the most that it
// has had.
func memoryOf(t *testing.T, pid int) (now, most float64) {
	t.Helper()
	status := procOf(t, pid, "status")
	read := func(name string) (kB float64) {
		_, rest, _ := strings.Cut(status, name)
		if _, err := fmt.Sscan(rest, &kB); err != nil {
			t.Fatal(err)
		}
		return kB / 1024
	}
	return read("VmRSS:"), read("VmHWM:")
}

// demoSite runs the demo's store at the speed of time and writes the configuration
// of a daemon that reads it.
func demoSite(t *testing.T, dir string) (file string) {
	t.Helper()
	plantStore, start, err := openDemoStore(1)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- plantStore.Run(ctx, collector.NewScaledClock(start, 1)) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	file = filepath.Join(dir, "site.toml")
	text := string(plantStore.Config(store.Location{Listen: "127.0.0.1:0", Data: filepath.Join(dir, "data")}))
	// Its messages bear the time of its own clock.
	text = strings.ReplaceAll(text, `, time = "/time"`, "")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// history writes a journal of so many floodbacks of the last days.
func history(t *testing.T, data string, count int) {
	t.Helper()
	if err := os.MkdirAll(data, 0o750); err != nil {
		t.Fatal(err)
	}
	j, err := alert.OpenJournal(data, 8<<20)
	if err != nil {
		t.Fatal(err)
	}
	j.SetRenderer(evidence.Renderer{Atmosphere: units.StandardAtmosphere})
	begin := time.Now().Add(-time.Duration(count) * time.Minute).UTC().Truncate(time.Second)
	floor, least := 11.0, 0.5
	for i := range count {
		at := begin.Add(time.Duration(i) * time.Minute)
		end := at.Add(30 * time.Second)
		ev := alert.Event{ID: fmt.Sprintf("lt.c2-floodback-%05d", i), Kind: "floodback", Severity: "minor", Site: "demo", Group: "lt", Compressor: "c2", Phase: "steady",
			Opened: at, Began: at, FloorK: &floor, MinSuperheatK: &least, SecondsBelow: 30, Circuits: []alert.Score{{Name: "island-2", Score: 0.8}}}
		j.Add(alert.Change{Kind: alert.Opened, At: at, Event: ev})
		ev.Closed = &end
		j.Add(alert.Change{Kind: alert.Closed, At: end, Event: ev})
		if i%500 == 0 {
			if err := j.Commit(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
	if n := len(j.Events(time.Time{}, false)); n < count/2 {
		t.Fatalf("the journal keeps %d of %d events", n, count)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

var lateRows = regexp.MustCompile(`(?m)^dewgap_(late_rows_total|source_late_cycles_total)\{.*\} (\S+)$`)

// late adds up rows and cycles of sources that were late, as a scrape shows them.
func late(t *testing.T, page string) (sum float64) {
	t.Helper()
	await(t, page+"metrics", "the counters of late rows and cycles", func(text string) bool {
		sum = 0
		all := lateRows.FindAllStringSubmatch(text, -1)
		for _, m := range all {
			v, err := strconv.ParseFloat(m[2], 64)
			if err != nil {
				t.Fatal(err)
			}
			sum += v
		}
		return len(all) >= 3
	})
	return sum
}

// crowd runs count clients for a time. A client connects, does what it does, and
// comes again a second later where it was refused. It returns how many connections
// there were.
func crowd(count int, length time.Duration, address string, client func(ctx context.Context, c net.Conn)) (connections int64) {
	ctx, stop := context.WithTimeout(context.Background(), length)
	defer stop()
	var all sync.WaitGroup
	var n atomic.Int64
	for range count {
		all.Go(func() {
			again := time.NewTicker(time.Second)
			defer again.Stop()
			for ctx.Err() == nil {
				if c, err := (&net.Dialer{}).DialContext(ctx, "tcp", address); err == nil {
					n.Add(1)
					end := context.AfterFunc(ctx, func() { c.Close() })
					client(ctx, c)
					end()
					c.Close()
				}
				select {
				case <-ctx.Done():
				case <-again.C:
				}
			}
		})
	}
	all.Wait()
	return n.Load()
}

// Trap 51, with the real program: clients that send twenty requests at once and read
// nothing, clients that read a byte at a time, and clients that all want the whole
// history. Memory stays below 128 MB at any instant, and rows and polls are on time.
func TestTrap51TheLoadThatBrokeIt(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds of load")
	}
	unread, slow, readers, events, length := 300, 300, 40, 2000, 2*time.Second
	if *fullLoad {
		unread, slow, readers, events, length = 2000, 3000, 300, 5000, 30*time.Second
	}
	// What goes with MemoryMax=128M. Without it the collector of garbage lets the
	// program have more for a moment.
	t.Setenv("GOMEMLIMIT", "96MiB")
	dir := t.TempDir()
	file := demoSite(t, dir)
	history(t, filepath.Join(dir, "data"), events)
	p := start(t, dir, "run", "--config", file)
	pid := p.cmd.Process.Pid
	await(t, p.page+"metrics", "rows", func(text string) bool { return strings.Contains(text, "dewgap_superheat_kelvin{") })
	idle, _ := memoryOf(t, pid)
	t.Logf("before: %.0f MB", idle)
	before := late(t, p.page)
	address := strings.TrimSuffix(strings.TrimPrefix(p.page, "http://"), "/")
	const all = "GET /api/v1/events?limit=100000 HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
	var got atomic.Int64
	loads := []struct {
		name   string
		count  int
		client func(ctx context.Context, c net.Conn)
	}{
		{"send 20 requests and do not read", unread, func(ctx context.Context, c net.Conn) {
			if _, err := io.WriteString(c, strings.Repeat(all, 20)); err == nil {
				<-ctx.Done()
			}
		}},
		{"read a byte at a time", slow, func(ctx context.Context, c net.Conn) {
			if _, err := io.WriteString(c, all); err != nil {
				return
			}
			tick := time.NewTicker(100 * time.Millisecond)
			defer tick.Stop()
			for one := make([]byte, 1); ; {
				if _, err := c.Read(one); err != nil {
					return
				}
				select {
				case <-ctx.Done():
					return
				case <-tick.C:
				}
			}
		}},
		{"read the whole history", readers, func(ctx context.Context, c net.Conn) {
			if _, err := io.WriteString(c, strings.Replace(all, "\r\n\r\n", "\r\nConnection: close\r\n\r\n", 1)); err != nil {
				return
			}
			if n, err := io.Copy(io.Discard, c); err == nil && n > int64(events)*200 {
				got.Add(1)
			}
		}},
	}
	for _, l := range loads {
		begun := time.Now()
		connections := crowd(l.count, length, address, l.client)
		now, most := memoryOf(t, pid)
		after := late(t, p.page)
		t.Logf("%d clients %s for %.0f s, %d connections: %.0f MB resident, %.0f at most, %g rows or cycles late", l.count, l.name, time.Since(begun).Seconds(), connections, now, most, after-before)
		if most >= mostMemory {
			t.Errorf("%s: %.0f MB resident, want less than %d", l.name, most, mostMemory)
		}
		if after != before {
			t.Errorf("%s: %g rows or cycles were late", l.name, after-before)
		}
		before = after
	}
	if got.Load() == 0 {
		t.Error("nobody got the whole history")
	}
	t.Logf("%d times the whole history was read", got.Load())
	if strings.Contains(p.log.String(), "panic") {
		t.Error(p.log.String())
	}
}

// Twenty open pages cost less than 60 MB: each asks for the state each second, and
// for what it plots beside, as page.js does.
func TestTwentyOpenPages(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds of load")
	}
	dir := t.TempDir()
	file := demoSite(t, dir)
	p := start(t, dir, "run", "--config", file)
	await(t, p.page+"metrics", "rows", func(text string) bool { return strings.Contains(text, "dewgap_superheat_kelvin{") })
	before := late(t, p.page)
	length := 2 * time.Second
	if *fullLoad {
		length = time.Minute
	}
	ctx, stop := context.WithTimeout(t.Context(), length)
	defer stop()
	var pages sync.WaitGroup
	var answers, failed atomic.Int64
	for range 20 {
		pages.Go(func() {
			client := &http.Client{Transport: &http.Transport{}}
			defer client.CloseIdleConnections()
			get := func(path string) {
				request, err := http.NewRequestWithContext(ctx, http.MethodGet, p.page+path, nil)
				if err != nil {
					failed.Add(1)
					return
				}
				answer, err := client.Do(request)
				if err != nil {
					if ctx.Err() == nil {
						failed.Add(1)
					}
					return
				}
				_, err = io.Copy(io.Discard, answer.Body)
				answer.Body.Close()
				if ctx.Err() == nil && (err != nil || answer.StatusCode != http.StatusOK) {
					failed.Add(1)
				}
				answers.Add(1)
			}
			get("")
			get("api/v1/events?limit=50")
			second := time.NewTicker(time.Second)
			defer second.Stop()
			for n := 0; ctx.Err() == nil; n++ {
				get("api/v1/state")
				if n%10 == 0 {
					for _, machine := range []string{"group=mt&compressor=c1", "group=mt&compressor=c2", "group=mt&compressor=c3", "group=lt&compressor=c1", "group=lt&compressor=c2"} {
						get("api/v1/history?" + machine)
					}
					now := time.Now().UTC()
					get("api/v1/history?step=5m&from=" + now.Add(-12*time.Hour).Format(time.RFC3339) + "&to=" + now.Format(time.RFC3339))
				}
				select {
				case <-ctx.Done():
				case <-second.C:
				}
			}
		})
	}
	pages.Wait()
	now, most := memoryOf(t, p.cmd.Process.Pid)
	t.Logf("20 pages for %s: %d answers, %.0f MB resident, %.0f at most", length, answers.Load(), now, most)
	if most >= 60 || answers.Load() < 20*2 || failed.Load() > 0 {
		t.Errorf("%.0f MB at most, %d answers, %d failed", most, answers.Load(), failed.Load())
	}
	if after := late(t, p.page); after != before {
		t.Errorf("%g rows or cycles were late", after-before)
	}
}

// From the start to the first row less than a second passes on one processor. A busy
// machine gets three attempts.
func TestFirstRowWithinASecond(t *testing.T) {
	if testing.Short() {
		t.Skip("measures time")
	}
	dir := t.TempDir()
	file := demoSite(t, dir)
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	// The first row waits for no full second.
	if err := os.WriteFile(file, []byte(strings.Replace(string(text), `sample = "1 s"`, `sample = "100 ms"`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("GOMAXPROCS", "1")
	best := time.Hour
	for range 3 {
		begun := time.Now()
		p := start(t, dir, "run", "--config", file)
		await(t, p.page+"metrics", "a row", func(text string) bool { return strings.Contains(text, "dewgap_row_timestamp_seconds{") })
		took := time.Since(begun)
		cells := strings.Fields(procOf(t, p.cmd.Process.Pid, "stat"))
		t.Logf("the first row after %s; user and system %s and %s hundredths of a second of a processor", took, cells[13], cells[14])
		best = min(best, took)
		if err := p.cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		p.done <- <-p.done
		if best < time.Second {
			return
		}
	}
	t.Errorf("the first row came after %s at best", best)
}
