package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// TestPeerTrap50CommandsBesideADaemonLeaveItAlone at a broker of another make.
func TestPeerTrap50CommandsBesideADaemonLeaveItAlone(t *testing.T) {
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("set DEWGAP_PEERS=1 to test against mosquitto")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := l.Addr().(*net.TCPAddr).Port
	l.Close()
	file := filepath.Join(t.TempDir(), "mosquitto.conf")
	if err := os.WriteFile(file, fmt.Appendf(nil, "listener %d 127.0.0.1\nuser root\nallow_anonymous true\n", port), 0o600); err != nil {
		t.Fatal(err)
	}
	broker := exec.Command("mosquitto", "-c", file)
	if err := broker.Start(); err != nil {
		t.Fatal("mosquitto is needed for this test: ", err)
	}
	t.Cleanup(func() { broker.Process.Kill(); broker.Wait() })
	address := fmt.Sprintf("127.0.0.1:%d", port)
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for limit := time.Now().Add(time.Minute); ; <-tick.C {
		c, err := net.Dial("tcp", address)
		if err == nil {
			c.Close()
			break
		}
		if time.Now().After(limit) {
			t.Fatal(err)
		}
	}
	publishing(t, func(topic, payload string) {
		if out, err := exec.Command("mosquitto_pub", "-h", "127.0.0.1", "-p", fmt.Sprint(port), "-t", topic, "-m", payload).CombinedOutput(); err != nil {
			t.Errorf("mosquitto_pub: %v: %s", err, out)
		}
	})
	besideTheDaemon(t, address)
}
