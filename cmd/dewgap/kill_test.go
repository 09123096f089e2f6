package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/cmd/dewgap/internal/notify"
	"dewgap/simulators/devices"
)

// flappingPlant is a compressor whose suction line goes below the floor and back
// every few seconds.
type flappingPlant struct{ begun time.Time }

func (p flappingPlant) Read(_, table uint8, address uint16) (uint16, bool) {
	const pressure, line, running = 0, 1, 2
	switch address {
	case pressure:
		return 300, true // centibar absolute
	case line:
		const period, rich = 3 * time.Second, 1500 * time.Millisecond
		if time.Since(p.begun)%period < rich {
			return uint16(65536 - 110), true // −11 °C, a few kelvin over dew
		}
		return 150, true
	case running:
		return 1, table == 2
	}
	return 0, false
}

const flappingSite = `
[site]
name = "demo"
[daemon]
listen = "127.0.0.1:0"
data = "data"
sample = "100 ms"
[[modbus]]
name = "io"
address = %q
period = "100 ms"
[[suction_group]]
name = "mt"
refrigerant = "R448A"
hold = { steady = "0.3 s", pulldown = "0.3 s" }
clear = { margin = "1 K", hold = "0.3 s" }
suction_pressure = { modbus = "io", unit_id = 1, input = 0, type = "uint16", scale = 0.01, unit = "bara" }
  [[suction_group.compressor]]
  name = "c1"
  suction_temperature = { modbus = "io", unit_id = 1, input = 1, type = "int16", scale = 0.1, unit = "degC", lag = "0 s" }
  running = { modbus = "io", unit_id = 1, discrete = 2 }
[[notify]]
name = "on-call"
kind = "webhook"
url = %q
severity = "risk"
kinds = ["floodback"]
`

var killCount = flag.Int("kills", 0, "how many times TestTrap43KilledAgainAndAgain kills the daemon")

// killed is what was seen of a daemon over all its lives.
type killed struct {
	*testing.T

	counters map[string]float64     // highest that was scraped
	events   map[string]alert.Event // that the API has shown
	scrapes  int

	mu   sync.Mutex
	ids  map[string]int    // messages that the target took, with how often
	told map[string]string // the last change of each event that it was told

	lost, doubled, back int
}

// ServeHTTP is the target: it holds that each event is told in order.
func (k *killed) ServeHTTP(_ http.ResponseWriter, r *http.Request) {
	var m notify.Message
	if err := json.NewDecoder(r.Body).Decode(&m); err != nil {
		return // the daemon was killed in the middle of it
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.ids[m.ID]++; k.ids[m.ID] > 1 {
		return
	}
	for _, c := range m.Changes {
		was := k.told[c.Event.ID]
		first, next := c.What == "opened" || c.What == "missed", c.What == "escalated" || c.What == "closed" || c.What == "withdrawn"
		if was == "" && !first || was != "" && (!next || was != "opened" && was != "escalated") {
			k.Errorf("%s: told %s after %q", c.Event.ID, c.What, was)
		}
		k.told[c.Event.ID] = c.What
	}
}

func (k *killed) get(url string) (string, bool) {
	response, err := http.Get(url)
	if err != nil {
		return "", false
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	return string(text), err == nil && response.StatusCode == http.StatusOK
}

// scrape reads the counters and holds that none has come back lower. It returns
// how many there were.
func (k *killed) scrape(page string) (n int) {
	text, ok := k.get(page + "metrics")
	if !ok {
		return 0
	}
	for line := range strings.Lines(text) {
		series, number, ok := strings.Cut(strings.TrimSpace(line), " ")
		name, _, _ := strings.Cut(series, "{")
		if !ok || !strings.HasPrefix(name, "dewgap_") || !strings.HasSuffix(name, "_total") || !outlives(name) {
			continue
		}
		value, err := strconv.ParseFloat(number, 64)
		if err != nil {
			k.Fatal(err)
		}
		n++
		if highest, known := k.counters[series]; known && value < highest {
			k.back++
			k.Errorf("%s came back as %g, %g was scraped", series, value, highest)
		}
		k.counters[series] = max(k.counters[series], value)
	}
	if n > 0 {
		k.scrapes++
	}
	return n
}

// outlives reports whether a counter lives in the data directory; the others count
// from the start of the process.
func outlives(name string) bool {
	return !strings.HasPrefix(name, "dewgap_source_") && name != "dewgap_late_rows_total" &&
		name != "dewgap_journal_errors_total" && name != "dewgap_ledger_errors_total" && !strings.HasPrefix(name, "dewgap_notify_")
}

// list reads the events that are shown.
func (k *killed) list(page string) {
	text, ok := k.get(page + "api/v1/events?limit=5000")
	if !ok {
		return
	}
	for line := range strings.Lines(text) {
		var ev alert.Event
		if err := json.Unmarshal([]byte(line), &ev); err != nil {
			k.Fatalf("%v: %s", err, line)
		}
		if before, known := k.events[ev.ID]; known && before.Closed != nil && ev.Closed == nil {
			k.Errorf("%s was shown as closed and is open again", ev.ID)
		}
		k.events[ev.ID] = ev
	}
}

// Trap 43, with the real program: it is killed again and again while floodback
// comes and goes. No counter that was scraped comes back lower, no event that was
// shown is lost, none comes twice, and events and their counter agree.
func TestTrap43KilledAgainAndAgain(t *testing.T) {
	kills, limit := 12, 40*time.Second
	switch {
	case *killCount > 0:
		kills, limit = *killCount, time.Duration(*killCount)*3*time.Second
	case os.Getenv("DEWGAP_PEERS") != "":
		kills, limit = 100, 5*time.Minute
	case testing.Short():
		kills = 3
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	begun := time.Now()
	device := &devices.ModbusDevice{Registers: flappingPlant{begun}}
	go func() { served <- device.Serve(ctx, l) }()
	defer func() { stop(); <-served }()
	k := &killed{T: t, counters: map[string]float64{}, events: map[string]alert.Event{}, ids: map[string]int{}, told: map[string]string{}}
	told := httptest.NewServer(k)
	defer told.Close()
	dir := t.TempDir()
	file := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(file, fmt.Appendf(nil, flappingSite, l.Addr().String(), told.URL), 0o600); err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(43, 1))
	done := 0
	for done < kills && time.Since(begun) < limit {
		k.life(file, dir, time.Duration(200+random.IntN(2500))*time.Millisecond)
		done++
	}
	if done < min(kills, 12) {
		t.Errorf("only %d kills in %s", done, limit)
	}
	p := start(t, dir, "run", "--config", file)
	await(t, p.page+"metrics", "the counters", func(string) bool { return k.scrape(p.page) > 0 })
	k.list(p.page)
	await(t, p.page+"api/v1/state", "everything told", func(text string) bool {
		return strings.Contains(text, `"target":"on-call"`) && strings.Contains(text, `"waiting":0`)
	})
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	ended := <-p.done
	p.done <- ended
	if ended != nil {
		t.Errorf("ended: %v\n%s", ended, &p.log)
	}
	k.compare(filepath.Join(dir, "data"), done)
}

// life runs the daemon until it is killed in the middle of whatever it does.
func (k *killed) life(file, dir string, length time.Duration) {
	p := start(k.T, dir, "run", "--config", file)
	end := time.NewTimer(length)
	look := time.NewTicker(40 * time.Millisecond)
	defer look.Stop()
	for alive := true; alive; {
		select {
		case <-look.C:
			k.scrape(p.page)
			k.list(p.page)
		case <-end.C:
			alive = false
		}
	}
	if err := p.cmd.Process.Kill(); err != nil {
		k.Fatal(err)
	}
	p.done <- <-p.done
	if strings.Contains(p.log.String(), "panic") {
		k.Fatal(p.log.String())
	}
}

// compare holds what was shown against what the data directory has in the end.
func (k *killed) compare(data string, kills int) {
	events, found, err := alert.ReadEvents(data)
	if err != nil || found.Damaged > 0 {
		k.Errorf("%v, %+v", err, found)
	}
	held := map[string]bool{}
	var last *alert.Event
	opened := uint64(0)
	for i := range events {
		ev := &events[i]
		if held[ev.ID] {
			k.doubled++
			k.Errorf("%s twice", ev.ID)
		}
		held[ev.ID] = true
		if ev.Kind != "floodback" {
			continue
		}
		opened++
		k.mu.Lock()
		if was := k.told[ev.ID]; was == "" || (ev.Closed != nil) != (was == "closed" || was == "missed" || was == "withdrawn") {
			// The daemon was stopped: the last ones may not have been due.
			if i < len(events)-4 {
				k.Errorf("%s: closed %v, told %q", ev.ID, ev.Closed, was)
			}
		}
		k.mu.Unlock()
		if last != nil && (last.Closed == nil || ev.Opened.Before(*last.Closed)) {
			k.doubled++
			k.Errorf("%s opened while %s was open", ev.ID, last.ID)
		}
		last = ev
	}
	for id := range k.events {
		if !held[id] {
			k.lost++
			k.Errorf("%s was shown and is lost", id)
		}
	}
	_, totals, err := alert.OpenLedger(data)
	if err != nil {
		k.Error(err)
	}
	counted := uint64(0)
	for _, sum := range totals {
		for _, n := range sum.Events {
			if n.Kind == "floodback" {
				counted += n.Opened
			}
		}
		if sum.FloodbackSeconds > sum.RunningSeconds {
			k.Errorf("floodback %g s, running %g s", sum.FloodbackSeconds, sum.RunningSeconds)
		}
	}
	if counted != opened {
		k.Errorf("%d floodback events in the journal, %d counted", opened, counted)
	}
	if opened < uint64(kills)/4 || k.scrapes < kills {
		k.Errorf("%d events, %d scrapes over %d kills: the test shows little", opened, k.scrapes, kills)
	}
	again := 0
	for _, n := range k.ids {
		again += n - 1
	}
	k.Logf("%d messages about %d events, %d of them again with the same id", len(k.ids), len(k.told), again)
	k.Logf("%d kills, %d scrapes of %d counters, %d floodback events in the journal, %d counted, %d of all kinds shown; %d lost, %d doubled, %d counters gone back",
		kills, k.scrapes, len(k.counters), opened, counted, len(k.events), k.lost, k.doubled, k.back)
}
