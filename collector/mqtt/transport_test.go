package mqtt

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strings"
	"testing"

	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	mochi "github.com/mochi-mqtt/server/v2/packets"

	"dewgap/analyze/reading"
)

// brokerOn starts a broker with one listener of the scheme on a loopback port
// and returns its URL; secure is nil where the scheme needs none.
func brokerOn(t *testing.T, scheme string, secure *tls.Config) (*broker.Server, string) {
	t.Helper()
	b := broker.New(&broker.Options{InlineClient: true, Logger: slog.New(slog.DiscardHandler)})
	if err := b.AddHook(new(everybody), nil); err != nil {
		t.Fatal(err)
	}
	// The websocket listener returns only its configured address.
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := listeners.Config{ID: scheme, Address: free.Addr().String(), TLSConfig: secure}
	free.Close()
	var l listeners.Listener = listeners.NewTCP(c)
	if strings.HasPrefix(scheme, "ws") {
		l = listeners.NewWebsocket(c)
	}
	if err := b.AddListener(l); err != nil {
		t.Fatal(err)
	}
	if err := b.Serve(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b, scheme + "://" + l.Address()
}

// everybody may do everything.
type everybody struct{ broker.HookBase }

func (*everybody) Provides(b byte) bool {
	return b == broker.OnConnectAuthenticate || b == broker.OnACLCheck
}
func (*everybody) OnConnectAuthenticate(*broker.Client, mochi.Packet) bool { return true }
func (*everybody) OnACLCheck(*broker.Client, string, bool) bool            { return true }

// TestTransports: a value comes over each of them, with each quality of
// service.
func TestTransports(t *testing.T) {
	ca, cert, key := certificates(t, t.TempDir())
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		t.Fatal(err)
	}
	pem, err := os.ReadFile(ca)
	if err != nil {
		t.Fatal(err)
	}
	known := x509.NewCertPool()
	known.AppendCertsFromPEM(pem)
	open := &tls.Config{Certificates: []tls.Certificate{pair}}
	strict := &tls.Config{Certificates: []tls.Certificate{pair}, ClientCAs: known, ClientAuth: tls.RequireAndVerifyClientCert}
	for _, c := range []struct {
		scheme string
		server *tls.Config
		words  string // of the refusal when we have neither authority nor certificate
	}{
		{"tcp", nil, ""}, {"ws", nil, ""},
		{"ssl", open, "certificate is not trusted"}, {"wss", open, "certificate is not trusted"},
		{"ssl", strict, ""}, {"wss", strict, ""},
	} {
		for qos := range byte(3) {
			t.Run(fmt.Sprintf("%s qos %d certificate %v", c.scheme, qos, c.server == strict), func(t *testing.T) {
				b, url := brokerOn(t, c.scheme, c.server)
				set := settings(t, "")
				set.URL, set.QoS = url, qos
				if c.server != nil {
					set.CAFile, set.CertFile, set.KeyFile = ca, cert, key
				}
				s, out, stop := run(t, set)
				until(t, "up", func() bool { return s.Status().Up })
				for i := range 20 {
					v := float64(i) + 0.5
					if err := b.Publish("rack/s", fmt.Append(nil, v), false, qos); err != nil {
						t.Fatal(err)
					}
					out.next(t, "a value", isGood(1, v))
				}
				stop()
				if c.words != "" && qos == 0 {
					set.CAFile = "" // the machine's own authorities do not know it
					_, out, stop := run(t, set)
					out.next(t, c.words, func(r reading.Reading) bool {
						return reading.CodeOf(r.Reason) == reading.Refused && strings.Contains(r.Reason, c.words)
					})
					stop()
				}
				if c.server == strict && qos == 0 {
					set.CAFile, set.CertFile, set.KeyFile = ca, "", ""
					_, out, stop := run(t, set)
					out.next(t, "a refusal without client certificate", func(r reading.Reading) bool {
						return reading.CodeOf(r.Reason) == reading.Refused && strings.Contains(r.Reason, "does not accept our certificate")
					})
					stop()
				}
			})
		}
	}
}

// TestTrap23NothingIsKeptInFiles: a client's store in files breaks when the
// power goes. What is under way is kept in memory, one message a topic.
func TestTrap23NothingIsKeptInFiles(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	for _, name := range []string{"HOME", "TMPDIR", "XDG_STATE_HOME", "XDG_CACHE_HOME"} {
		t.Setenv(name, dir)
	}
	b, url := brokerOn(t, "tcp", nil)
	set := settings(t, "")
	set.URL, set.QoS = url, 2
	s, out, stop := run(t, set)
	until(t, "up", func() bool { return s.Status().Up })
	for i := range 10 {
		if err := b.Publish("rack/s", fmt.Append(nil, i), false, 2); err != nil {
			t.Fatal(err)
		}
		out.next(t, "a value", isGood(1, float64(i)))
		made, err := os.ReadDir(dir)
		if err != nil || len(made) != 0 {
			t.Fatalf("after a message of QoS 2: %v %v", made, err)
		}
	}
	stop()
	if made, err := os.ReadDir(dir); err != nil || len(made) != 0 {
		t.Errorf("left behind: %v %v", made, err)
	}
}
