package remotewrite

import (
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/collector/recording"
	"dewgap/config"
)

// prometheus starts a real one that takes remote write, with late samples up to an
// hour, and returns its address.
func prometheus(t *testing.T) string {
	t.Helper()
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("set DEWGAP_PEERS=1 to test against prometheus")
	}
	path, err := exec.LookPath("prometheus")
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	dir := t.TempDir()
	conf := filepath.Join(dir, "prometheus.yml")
	if err := os.WriteFile(conf, []byte("storage:\n  tsdb:\n    out_of_order_time_window: 1h\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, "--config.file="+conf, "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+address, "--web.enable-remote-write-receiver")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() }) // it was killed, which is its error
	for range 600 {
		answer, err := http.Get("http://" + address + "/-/ready")
		if err == nil {
			answer.Body.Close()
			if answer.StatusCode == http.StatusOK {
				return "http://" + address
			}
		}
		time.Sleep(50 * time.Millisecond) // another process starts when it starts
	}
	t.Fatal("prometheus does not start")
	return ""
}

// A real Prometheus takes what is sent, and what is too old for it is given up,
// that span and no more.
func TestPrometheusTakesIt(t *testing.T) {
	address := prometheus(t)
	dir := t.TempDir()
	cfg, err := config.Parse("site.toml", []byte(siteText))
	if err != nil {
		t.Fatal(err)
	}
	site, err := cfg.ForRecording([]string{"mt.suction_pressure", "mt.c1.suction_temperature", "mt.c1.running"})
	if err != nil {
		t.Fatal(err)
	}
	end := time.Now().UTC().Truncate(time.Minute)
	begin := end.Add(-8 * time.Hour)
	recordings := filepath.Join(dir, "recordings")
	if err := os.Mkdir(recordings, 0o755); err != nil {
		t.Fatal(err)
	}
	// One is finished, the last half of an hour is being written.
	encoder := recording.NewEncoder(site.Points)
	for _, part := range [][2]time.Time{{begin, end.Add(-30 * time.Minute)}, {end.Add(-30 * time.Minute), end.Add(time.Second)}} {
		f, err := os.Create(filepath.Join(recordings, "recording-"+part[0].Format("20060102T150405.000Z")+".csv.gz"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		z, text := gzip.NewWriter(f), encoder.AppendHeader(nil)
		for at := part[0]; at.Before(part[1]); at = at.Add(15 * time.Second) {
			row := reading.Row{Time: at}
			for i, p := range site.Points {
				v := map[string]float64{"mt.suction_pressure": 2.5e5, "mt.c1.suction_temperature": 6 + math.Sin(float64(at.Unix())/900), "mt.c1.running": 1}[p.Path]
				row.Readings = append(row.Readings, reading.Reading{Point: i, Time: at, Value: v, Quality: reading.Good})
			}
			text = encoder.AppendRow(text, row)
		}
		if _, err := z.Write(text); err != nil {
			t.Fatal(err)
		}
		if err := z.Flush(); err != nil {
			t.Fatal(err)
		}
		if !part[1].After(end) {
			if err := z.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	send := func(name string, from time.Time) snapshot.Receiver {
		t.Helper()
		s := Setting{Site: site, Recordings: recordings, Dir: dir, Now: time.Now, Board: snapshot.NewBoard(time.Now), Log: slog.New(slog.NewTextHandler(t.Output(), nil)),
			Receivers: []config.RemoteWrite{{Name: name, URL: address + "/api/v1/write", Every: 30 * time.Second}}}
		file, err := alert.OpenCursor(dir, name+".cursor", &cursor{})
		if err != nil {
			t.Fatal(err)
		}
		if err := file.Save(cursor{At: from.UnixMilli()}); err != nil {
			t.Fatal(err)
		}
		w := New(s)
		ctx, stop := context.WithTimeout(t.Context(), time.Minute)
		defer stop()
		ended := make(chan error, 1)
		go func() { ended <- w.Run(ctx) }()
		for ctx.Err() == nil && w.Status()[0].UpTo.Before(end.Add(-30*time.Second)) {
			time.Sleep(20 * time.Millisecond) // another process takes it when it takes it
		}
		status := w.Status()[0]
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if status.UpTo.Before(end.Add(-30 * time.Second)) {
			t.Fatalf("%s came to %s of %s: %+v", name, status.UpTo.UTC(), end, status)
		}
		return status
	}
	first := send("first", end.Add(-2*time.Hour))
	if first.Samples == 0 || first.Failures != 0 || first.Fault != "" || len(first.Rejected) != 0 {
		t.Errorf("%+v", first)
	}
	values := query(t, address, `dewgap_superheat_kelvin{compressor="c1"}[3h]`, end)
	if len(values) != 240 {
		t.Errorf("%d samples of superheat in two hours", len(values))
	}
	for i, v := range values {
		if !(v > 5 && v < 30) {
			t.Fatalf("superheat %d is %g", i, v)
		}
	}
	if counted := query(t, address, `dewgap_compressor_running_seconds_total{compressor="c1"}[3h]`, end); len(counted) != 240 || math.Abs(counted[239]-counted[0]-239*30) > 1 {
		t.Errorf("running time %v", counted)
	}
	// Again from four hours before: what is older than its window is given up.
	second := send("second", end.Add(-6*time.Hour))
	if second.Rejected["too_old"] == 0 || second.Samples == 0 || second.Fault != "" {
		t.Errorf("%+v", second)
	}
	if at := end.Sub(second.GivenTo); at < 59*time.Minute || at > 62*time.Minute {
		t.Errorf("given up to %s, %v before the end", second.GivenTo.UTC(), at)
	}
}

// query returns the values of one series.
func query(t *testing.T, address, text string, at time.Time) (values []float64) {
	t.Helper()
	answer, err := http.Get(address + "/api/v1/query?" + url.Values{"query": {text}, "time": {fmt.Sprint(at.Unix())}}.Encode())
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	var got struct {
		Data struct {
			Result []struct{ Values [][2]any }
		}
	}
	if err := json.NewDecoder(answer.Body).Decode(&got); err != nil || len(got.Data.Result) != 1 {
		t.Fatalf("%s: %v, %+v", text, err, got)
	}
	for _, pair := range got.Data.Result[0].Values {
		v, err := strconv.ParseFloat(pair[1].(string), 64)
		if err != nil {
			t.Fatal(err)
		}
		values = append(values, v)
	}
	return values
}
