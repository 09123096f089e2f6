package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Each query of the dashboards gives data of the demo, asked of a real Prometheus
// that scrapes it.
func TestDashboardsShowTheDemo(t *testing.T) {
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("needs prometheus; set DEWGAP_PEERS=1")
	}
	files, err := filepath.Glob("../../config/monitoring/grafana/*.json")
	if err != nil || len(files) < 4 {
		t.Fatalf("dashboards %v, %v", files, err)
	}
	scraped, prometheus, dir := freeAddress(t), freeAddress(t), t.TempDir()
	conf := filepath.Join(dir, "prometheus.yml")
	text := fmt.Sprintf("global: { scrape_interval: 1s }\nscrape_configs:\n  - job_name: dewgap\n    static_configs: [{ targets: [%q] }]\n", scraped)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	demo := demoCmd{Listen: scraped, Speed: 200, For: 5 * time.Minute, Data: filepath.Join(dir, "demo"), Seed: 1}
	go func() { ended <- demo.Run(ctx, console{Out: io.Discard, Err: io.Discard}) }()
	defer func() { stop(); <-ended }()
	server := exec.Command("prometheus", "--config.file="+conf, "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+prometheus)
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = server.Process.Kill(); _ = server.Wait() }() // it was killed, which is its error

	waiting := map[string]string{} // query → where it stands
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var page struct {
			Panels []struct {
				Title   string
				Targets []struct{ Expr string }
			}
		}
		if err := json.Unmarshal(text, &page); err != nil {
			t.Fatal(err)
		}
		for _, p := range page.Panels {
			for _, q := range p.Targets {
				expr := strings.NewReplacer("$__range", "1d", "$site", ".*", "$group", ".*", "$compressor", ".*").Replace(q.Expr)
				waiting[expr] = filepath.Base(file) + ", " + p.Title
			}
		}
	}
	if len(waiting) < 25 {
		t.Fatalf("%d queries", len(waiting))
	}
	// One after another shows something: a pulldown has to end first.
	for end := time.Now().Add(90 * time.Second); time.Now().Before(end) && len(waiting) > 0; time.Sleep(time.Second) { // other processes
		for expr := range waiting {
			if n, err := countSeries(prometheus, expr); err == nil && n > 0 {
				delete(waiting, expr)
			}
		}
	}
	for expr, where := range waiting {
		n, err := countSeries(prometheus, expr)
		t.Errorf("%s: %d series, %v: %s", where, n, err, expr)
	}
	if n, err := countSeries(prometheus, `dewgap_superheat_kelvin{site="no-such-site"}`); n != 0 || err != nil {
		t.Errorf("a site that is not there has %d series, %v", n, err)
	}
}

// countSeries asks a Prometheus now.
func countSeries(address, expr string) (int, error) {
	client := http.Client{Timeout: 5 * time.Second}
	answer, err := client.Get("http://" + address + "/api/v1/query?" + url.Values{"query": {expr}}.Encode())
	if err != nil {
		return 0, err
	}
	defer answer.Body.Close()
	var got struct {
		Status, Error string
		Data          struct{ Result []any }
	}
	if err := json.NewDecoder(answer.Body).Decode(&got); err != nil {
		return 0, err
	}
	if got.Status != "success" {
		return 0, fmt.Errorf("%s", got.Error)
	}
	return len(got.Data.Result), nil
}
