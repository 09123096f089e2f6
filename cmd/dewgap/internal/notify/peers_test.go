package notify

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"dewgap/config"
)

// peer returns the path of a program of another make; without DEWGAP_PEERS the
// test is left out.
func peer(t *testing.T, name string) string {
	t.Helper()
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("set DEWGAP_PEERS=1 to test against " + name)
	}
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// freePort returns a port of this machine that nobody uses now.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// runPeer starts a program and returns what ends it at once.
func runPeer(t *testing.T, address, path string, args ...string) (kill func()) {
	t.Helper()
	cmd := exec.Command(path, args...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	kill = func() { _ = cmd.Process.Kill(); _ = cmd.Wait() } // it was killed, which is its error
	for range 200 {
		c, err := net.Dial("tcp", address)
		if err == nil {
			c.Close()
			return kill
		}
		time.Sleep(50 * time.Millisecond) // another process starts when it starts
	}
	kill()
	t.Fatalf("%s does not listen on %s", path, address)
	return nil
}

// TestPeerMosquitto: an event from begin to end at a broker of another make.
func TestPeerMosquitto(t *testing.T) {
	path := peer(t, "mosquitto")
	address := freePort(t)
	_, port, _ := net.SplitHostPort(address)
	file := filepath.Join(t.TempDir(), "mosquitto.conf")
	if err := os.WriteFile(file, []byte("listener "+port+" 127.0.0.1\nallow_anonymous true\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	defer runPeer(t, address, path, "-c", file)()
	checkUplink(t, address)
}

// TestPeerAlertmanager: a real Alertmanager, killed in the middle of an event,
// tells its own receiver of the event again and then of its end; a severity that
// the event has left ends in the request that brings the new one.
func TestPeerAlertmanager(t *testing.T) {
	path := peer(t, "prometheus-alertmanager")
	type notice struct {
		Alerts []struct {
			Status string            `json:"status"`
			Labels map[string]string `json:"labels"`
		} `json:"alerts"`
	}
	heard := make(chan string, 100)
	receiver := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var n notice
		if err := json.NewDecoder(io.LimitReader(r.Body, 1<<20)).Decode(&n); err != nil {
			t.Error(err)
		}
		for _, a := range n.Alerts {
			heard <- fmt.Sprintf("%s %s %s", a.Status, a.Labels["alertname"], a.Labels["severity"])
		}
	}))
	defer receiver.Close()
	folder := t.TempDir()
	file := filepath.Join(folder, "alertmanager.yml")
	text := "route:\n  receiver: r\n  group_by: [event, severity]\n  group_wait: 100ms\n  group_interval: 300ms\nreceivers:\n- name: r\n  webhook_configs:\n  - url: " + receiver.URL + "\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	address := freePort(t)
	begin := func() func() {
		return runPeer(t, address, path, "--config.file="+file, "--storage.path="+t.TempDir(), "--web.listen-address="+address, "--cluster.listen-address=")
	}
	until := func(want string) {
		t.Helper()
		timeout := time.After(20 * time.Second)
		for {
			select {
			case got := <-heard:
				if got == want {
					return
				}
			case <-timeout:
				t.Fatalf("the receiver never heard %q", want)
			}
		}
	}
	b := newBench(t, config.Notify{})
	b.set.Kind, b.set.URL = config.Alertmanager, "http://"+address
	b.outbox = &Outbox{again: make(chan struct{}, 1)}
	client, err := newClient(&b.set)
	if err != nil {
		t.Fatal(err)
	}
	l := &level{set: &b.set, words: testWords(), client: client, now: time.Now, sent: map[string]string{}}
	step := func(want bool) {
		t.Helper()
		if got := l.step(context.Background(), b.journal); got != want {
			t.Fatalf("taken: %v, %+v", got, l.status())
		}
	}

	kill := begin()
	b.opens("c1", "minor")
	step(true)
	until("firing DewgapFloodback minor")
	kill()
	step(false)
	if s := l.status(); s.Failures != 1 || s.Fault == "" {
		t.Errorf("%+v", s)
	}
	kill = begin()
	defer func() { kill() }()
	step(true)
	until("firing DewgapFloodback minor")
	b.escalates("c1")
	step(true)
	until("firing DewgapFloodback major")
	until("resolved DewgapFloodback minor")
	b.closes("c1")
	step(true)
	until("resolved DewgapFloodback major")
	if err := l.test(context.Background(), testWords().plain("test", time.Now(), "a test", "of a test")); err != nil {
		t.Error(err)
	}
	until("firing DewgapTest none")
}
