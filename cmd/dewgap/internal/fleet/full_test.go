package fleet

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"go.yaml.in/yaml/v2"

	"dewgap/alert"
	"dewgap/collector"
)

var (
	siteCount  = flag.Int("sites", 0, "how many sites TestFleet runs")
	plantCount = flag.Int("plants", 50, "how many plants they share, at most")
	speed      = flag.Float64("speed", 1, "how many times faster than real time; above 1 the past is filled in, up to now, by remote write")
	sample     = flag.Duration("sample", 15*time.Second, "time between rows, scrapes and samples")
	length     = flag.Duration("for", 5*time.Minute, "how long it runs")
	victoria   = flag.String("victoria", "", "path of victoria-metrics")
	prometheus = flag.String("prometheus", "", "path of prometheus")
	natsServer = flag.String("nats", "", "path of nats-server: events go through a cluster of three, of which one is killed")
)

// freeAddress returns a loopback address that nobody uses now.
func freeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// peer is a program of another make.
type peer struct {
	name, path string
	args       []string
	address    string // it answers here once it runs
	dir        string // of its data
	cmd        *exec.Cmd
}

// start starts it and waits until it listens.
func (p *peer) start(t testing.TB) {
	t.Helper()
	p.cmd = exec.Command(p.path, p.args...)
	log, err := os.OpenFile(p.dir+".log", os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	p.cmd.Stdout, p.cmd.Stderr = log, log
	if err := errors.Join(p.cmd.Start(), log.Close()); err != nil {
		t.Fatal(err)
	}
	look := time.NewTicker(100 * time.Millisecond)
	defer look.Stop()
	for range 600 {
		if c, err := net.Dial("tcp", p.address); err == nil {
			c.Close()
			return
		}
		<-look.C
	}
	text, _ := os.ReadFile(p.dir + ".log") // what there is
	t.Fatalf("%s does not listen on %s: %s", p.name, p.address, text)
}

// kill ends it as a power cut does.
func (p *peer) kill() { _ = p.cmd.Process.Kill(); _ = p.cmd.Wait() } // it was killed, which is its error

// memory is the resident memory of a process, in MB.
func memory(t testing.TB, pid int) float64 {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), "VmRSS:")
	kB := 0.0
	if _, err := fmt.Sscan(rest, &kB); err != nil {
		t.Fatal(err)
	}
	return kB / 1024
}

// processor is the time that a process has had of the processors, in seconds.
func processor(t testing.TB, pid int) float64 {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	cells := strings.Fields(string(text[strings.LastIndexByte(string(text), ')'):]))
	sum := 0.0
	for _, cell := range cells[12:14] {
		ticks, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			t.Fatal(err)
		}
		sum += ticks / 100 // USER_HZ of Linux
	}
	return sum
}

// sizeOf is the size of all files below dir, in MB.
func sizeOf(dir string) (MB float64) {
	_ = filepath.WalkDir(dir, func(_ string, e fs.DirEntry, err error) error {
		if err != nil {
			return nil // it was deleted meanwhile
		}
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() {
			MB += float64(info.Size()) / (1 << 20)
		}
		return nil
	})
	return MB
}

// scraping is the configuration for both stores.
func scraping(t testing.TB, dir, targets string) string {
	t.Helper()
	file := filepath.Join(dir, "scrape.yml")
	// What a centre does not keep, whichever way it comes.
	relabel := filepath.Join(dir, "relabel.yml")
	drop := "- source_labels: [__name__]\n  regex: " + localMetric + "\n  action: drop\n"
	if err := os.WriteFile(relabel, []byte(drop), 0o600); err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprintf("global:\n  scrape_interval: %s\n  scrape_timeout: 10s\nscrape_configs:\n- job_name: dewgap\n  http_sd_configs:\n  - url: %s\n  metric_relabel_configs:\n  %s\n", *sample, targets, strings.ReplaceAll(drop, "\n", "\n  "))
	if *speed > 1 {
		text = "global: {}\n"
	}
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// stores starts the metrics stores that are given.
func stores(t testing.TB, dir, targets string) (all []*peer) {
	t.Helper()
	conf := scraping(t, dir, targets)
	if *victoria != "" {
		p := &peer{name: "VictoriaMetrics", path: *victoria, address: freeAddress(t), dir: filepath.Join(dir, "victoria")}
		p.args = []string{"-storageDataPath=" + p.dir, "-httpListenAddr=" + p.address, "-retentionPeriod=1", "-search.latencyOffset=0s", "-memory.allowedBytes=1GB", "-search.maxUniqueTimeseries=1000000", "-promscrape.config=" + conf, "-relabelConfig=" + filepath.Join(dir, "relabel.yml")}
		all = append(all, p)
	}
	if *prometheus != "" {
		p := &peer{name: "Prometheus", path: *prometheus, address: freeAddress(t), dir: filepath.Join(dir, "prometheus")}
		p.args = []string{"--config.file=" + conf, "--storage.tsdb.path=" + p.dir, "--web.listen-address=" + p.address, "--web.enable-remote-write-receiver", "--web.enable-admin-api"}
		all = append(all, p)
	}
	for _, p := range all {
		p.start(t)
		t.Cleanup(p.kill)
	}
	return all
}

// cluster starts three brokers that form one, and returns them with the address of
// what stands for their common name: a connection goes to one of those that answer.
func cluster(t testing.TB, dir string) (nodes []*peer, address string) {
	t.Helper()
	var routes []string
	for range 3 {
		routes = append(routes, freeAddress(t))
	}
	for i := range 3 {
		p := &peer{name: fmt.Sprintf("broker %d", i+1), path: *natsServer, address: freeAddress(t), dir: filepath.Join(dir, fmt.Sprintf("broker%d", i+1))}
		_, port, _ := net.SplitHostPort(p.address)
		text := fmt.Sprintf("server_name: n%d\nlisten: %q\njetstream { store_dir: %q, max_mem: 256MB, max_file: 2GB }\ncluster { name: fleet, listen: %q, routes: [\"nats-route://%s\"] }\nmqtt { host: 127.0.0.1, port: %s }\n",
			i+1, freeAddress(t), p.dir, routes[i], strings.Join(routes, `", "nats-route://`), port)
		file := p.dir + ".conf"
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		p.args = []string{"-c", file}
		nodes = append(nodes, p)
	}
	for _, p := range nodes {
		p.start(t)
		t.Cleanup(func() { p.kill() })
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go forward(c, nodes)
		}
	}()
	return nodes, l.Addr().String()
}

func forward(from net.Conn, nodes []*peer) {
	defer from.Close()
	for _, i := range rand.Perm(len(nodes)) {
		to, err := net.DialTimeout("tcp", nodes[i].address, time.Second)
		if err != nil {
			continue
		}
		defer to.Close()
		var both sync.WaitGroup
		for _, ends := range [][2]net.Conn{{from, to}, {to, from}} {
			both.Go(func() {
				_, _ = io.Copy(ends[0], ends[1]) // one end closing ends both
				ends[0].Close()
				ends[1].Close()
			})
		}
		both.Wait()
		return
	}
}

// question is what a team asks of all sites at once.
type question struct{ what, expr string }

// questions are those of the rules in config/monitoring, and what a page of the
// whole fleet shows.
func questions(t testing.TB) []question {
	t.Helper()
	all := []question{
		{"twenty sites nearest to their floor", `topk(20, min by (site) (dewgap_superheat_margin_kelvin))`},
		{"open floodbacks by severity", `count by (severity) (dewgap_event_info{kind="floodback"})`},
		{"sites without a row for five minutes", `time() - max by (site) (dewgap_row_timestamp_seconds) > 300`},
		{"machines by phase", `sum by (phase) (dewgap_phase)`},
		{"versions", `count by (version) (dewgap_build_info)`},
		{"floodback of a day by site", `topk(20, sum by (site) (increase(dewgap_floodback_seconds_total[1d])))`},
		{"margin of one site, an hour", `dewgap_superheat_margin_kelvin{site="store-0001"}[1h]`},
	}
	for _, name := range []string{"recording.yml", "alerts.yml"} {
		text, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "config", "monitoring", name))
		if err != nil {
			t.Fatal(err)
		}
		var file struct {
			Groups []struct {
				Rules []struct{ Record, Alert, Expr string }
			}
		}
		if err := yaml.Unmarshal(text, &file); err != nil {
			t.Fatal(err)
		}
		n := len(all)
		for _, g := range file.Groups {
			for _, r := range g.Rules {
				all = append(all, question{r.Record + r.Alert, r.Expr})
			}
		}
		if len(all) == n {
			t.Fatalf("no rule in %s", name)
		}
	}
	return all
}

// ask asks a store and returns the first value.
func (p *peer) ask(t testing.TB, expr string, at time.Time) (value float64, took time.Duration) {
	t.Helper()
	begun := time.Now()
	answer, err := http.Get("http://" + p.address + "/api/v1/query?nocache=1&time=" + strconv.FormatInt(at.Unix(), 10) + "&query=" + url.QueryEscape(expr))
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	took = time.Since(begun)
	var got struct {
		Status, Error string
		Data          struct {
			Result []struct{ Value [2]any }
		}
	}
	if err = errors.Join(err, json.Unmarshal(text, &got)); err != nil || got.Status != "success" {
		t.Fatalf("%s: %s: %v %.300s", p.name, expr, err, text)
	}
	if len(got.Data.Result) > 0 {
		if text, ok := got.Data.Result[0].Value[1].(string); ok {
			if value, err = strconv.ParseFloat(text, 64); err != nil {
				t.Fatal(err)
			}
		}
	}
	return value, took
}

// flushed makes a store write what it has, and returns the directory that has it.
func (p *peer) flushed(t testing.TB) string {
	t.Helper()
	get := func(method, path string) []byte {
		request, err := http.NewRequest(method, "http://"+p.address+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		answer, err := http.DefaultClient.Do(request)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		text, err := io.ReadAll(answer.Body)
		if err != nil || answer.StatusCode != http.StatusOK {
			t.Fatalf("%s: %d %s %v", path, answer.StatusCode, text, err)
		}
		return text
	}
	if p.name == "VictoriaMetrics" {
		get("GET", "/internal/force_flush")
		get("GET", "/internal/force_merge")
		return filepath.Join(p.dir, "data")
	}
	var made struct{ Data struct{ Name string } }
	if err := json.Unmarshal(get("POST", "/api/v1/admin/tsdb/snapshot"), &made); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(p.dir, "snapshots", made.Data.Name)
}

// TestFleet runs as many sites as -sites says, each a whole daemon, against the
// programs that are given, and prints what they cost:
//
//	go test ./cmd/dewgap/internal/fleet -run TestFleet -v -timeout 60m -sites 1000 -for 10m -victoria PATH -prometheus PATH -nats PATH
func TestFleet(t *testing.T) {
	if *siteCount == 0 {
		t.Skip("needs -sites and programs; takes minutes")
	}
	dir := t.TempDir()
	var sites []*site
	targets := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		list := make([]string, 0, len(sites))
		for _, s := range sites {
			list = append(list, strings.TrimSuffix(strings.TrimPrefix(s.page, "http://"), "/"))
		}
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode([]map[string]any{{"targets": list}}) // a store that goes away asks again
	}))
	defer targets.Close()
	var clock collector.Clock = collector.NewRealClock()
	receiver, broker := "", ""
	var nodes []*peer
	var central *subscriber
	if *natsServer != "" {
		nodes, broker = cluster(t, dir)
		broker = "tcp://" + broker
		central = subscribe(t, broker)
	}
	var kept []*peer
	begun := time.Now()
	if *speed > 1 {
		if kept = stores(t, dir, ""); len(kept) > 0 {
			receiver = "http://" + kept[0].address + "/api/v1/write" // the same of both
		}
		clock = collector.NewScaledClock(time.Now().Add(-time.Duration(float64(*length)**speed)-time.Hour), *speed)
	}
	from := clock.Now()
	sites = open(t, setting{sites: *siteCount, plants: min(*plantCount, *siteCount), wet: 10, sample: *sample, clock: clock,
		dir: filepath.Join(dir, "sites"), extra: extras(receiver, broker)})
	t.Logf("%d sites opened in %.0f s", len(sites), time.Since(begun).Seconds())
	stop := run(t, sites)
	if *speed == 1 {
		kept = stores(t, dir, targets.URL)
	}
	cpu := map[*peer]float64{}
	half := *length / 2
	wait(t, half)
	for _, p := range kept {
		cpu[p] = processor(t, p.cmd.Process.Pid)
	}
	own := processor(t, os.Getpid())
	middle := time.Now()
	if central != nil {
		nodes[1].kill()
		t.Log("a broker is killed")
		wait(t, half/2)
		nodes[1].start(t)
		t.Log("and is back")
		wait(t, half/2)
	} else {
		wait(t, half)
	}
	span := time.Since(middle).Seconds()
	t.Logf("%d sites in this process: %.0f MB resident (%.1f MB a site), %.2f processors, %d goroutines", len(sites), memory(t, os.Getpid()),
		memory(t, os.Getpid())/float64(len(sites)), (processor(t, os.Getpid())-own)/span, runtime.NumGoroutine())
	for _, p := range kept {
		load := (processor(t, p.cmd.Process.Pid) - cpu[p]) / span
		p.report(t, clock.Now(), from, load)
	}
	if central != nil {
		allTold(t, sites, central)
	}
	stop()
}

func wait(t testing.TB, d time.Duration) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), d)
	defer cancel()
	<-ctx.Done()
}

// allTold holds that whatever the journals have now reaches the subscriber.
func allTold(t *testing.T, sites []*site, central *subscriber) {
	t.Helper()
	events := 0
	held := map[*site][]alert.Event{}
	for _, s := range sites {
		held[s] = s.journalled(t)
		events += len(held[s])
	}
	// A change waits for a minute where its cause was told of before, and for the next
	// try where its broker was the one that was killed.
	look := time.NewTicker(2 * time.Second)
	defer look.Stop()
	for range 120 {
		for s, all := range held {
			if len(central.missing(s.name, all)) == 0 {
				delete(held, s)
			}
		}
		if len(held) == 0 {
			break
		}
		<-look.C
	}
	central.mu.Lock()
	t.Logf("events: %d in the journals, %d messages taken, %d of them again, %d connections of the subscriber lost", events, central.messages, central.again, central.lost)
	central.mu.Unlock()
	for s, all := range held {
		gone := central.missing(s.name, all)
		t.Errorf("%s: %d lost, such as %s", s.name, len(gone), gone[0])
	}
	if events < len(sites)/10 {
		t.Errorf("%d events of %d sites show little", events, len(sites))
	}
}

// report prints what a store costs.
func (p *peer) report(t *testing.T, now, from time.Time, load float64) {
	t.Helper()
	at := now
	if *speed > 1 {
		at = now.Add(-time.Duration(30 * *speed * float64(time.Second))) // what has certainly arrived
	}
	series, _ := p.ask(t, `count({__name__=~"dewgap_.*"})`, at)
	rows, _ := p.ask(t, fmt.Sprintf(`sum(count_over_time(dewgap_row_timestamp_seconds[%ds]))`, int(at.Sub(from).Seconds())+1), at)
	samples := rows * series / float64(*siteCount)
	resident := memory(t, p.cmd.Process.Pid)
	size := sizeOf(p.flushed(t))
	each := size * (1 << 20) / samples
	t.Logf("%s: %.0f series of ours (%.0f a site), %.0f samples over %s, %.0f MB resident, %.2f processors, %.1f MB on the disk: %.2f bytes a sample, %.0f MB a day at one sample in %s",
		p.name, series, series/float64(*siteCount), samples, at.Sub(from).Round(time.Second), resident, load, size, each, each*series*86400/sample.Seconds()/(1<<20), *sample)
	if series > mostSeries*float64(*siteCount) || series < 200*float64(*siteCount) {
		t.Errorf("%s has %.0f series of %d sites, want at most %d of each", p.name, series, *siteCount, mostSeries)
	}
	var slowest time.Duration
	for _, q := range questions(t) {
		var times []time.Duration
		for range 5 {
			_, took := p.ask(t, q.expr, at)
			times = append(times, took)
		}
		slices.Sort(times)
		t.Logf("%s: %5d ms (%5d at most) %s", p.name, times[2].Milliseconds(), times[4].Milliseconds(), q.what)
		slowest = max(slowest, times[2])
	}
	if slowest > time.Second {
		t.Errorf("%s: a question takes %s", p.name, slowest)
	}
}
