package mqtt

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/analyze/reading"
)

// mosquitto is a broker of another make, run for one test.
type mosquitto struct {
	config string
	port   int
	cmd    *exec.Cmd
}

func newMosquitto(t *testing.T, extra string) *mosquitto {
	t.Helper()
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("set DEWGAP_PEERS=1 to test against mosquitto")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m := &mosquitto{config: filepath.Join(t.TempDir(), "mosquitto.conf"), port: l.Addr().(*net.TCPAddr).Port}
	l.Close()
	text := fmt.Sprintf("listener %d 127.0.0.1\nuser root\n%s\n", m.port, extra)
	if err := os.WriteFile(m.config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	m.start(t)
	t.Cleanup(func() { m.stop() })
	return m
}

func (m *mosquitto) start(t *testing.T) {
	t.Helper()
	m.cmd = exec.Command("mosquitto", "-c", m.config)
	if err := m.cmd.Start(); err != nil {
		t.Fatal("mosquitto is needed for this test: ", err)
	}
	until(t, "mosquitto to listen", func() bool {
		c, err := net.Dial("tcp", m.address())
		if err == nil {
			c.Close()
		}
		return err == nil
	})
}

func (m *mosquitto) stop() {
	if m.cmd != nil {
		m.cmd.Process.Kill()
		m.cmd.Wait()
		m.cmd = nil
	}
}

func (m *mosquitto) address() string { return fmt.Sprintf("127.0.0.1:%d", m.port) }

func (m *mosquitto) publish(t *testing.T, topic, payload string, args ...string) {
	t.Helper()
	args = append([]string{"-h", "127.0.0.1", "-p", fmt.Sprint(m.port), "-t", topic, "-m", payload}, args...)
	if out, err := exec.Command("mosquitto_pub", args...).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
}

func TestPeerTrap18And21RestartAndRetained(t *testing.T) {
	m := newMosquitto(t, "allow_anonymous true")
	m.publish(t, "rack/s", "5", "-r")
	s, out, stop := run(t, settings(t, m.address()))
	defer stop()
	if r := out.next(t, "the retained message", func(r reading.Reading) bool { return r.Point == 1 }); r.Quality == reading.Good {
		t.Errorf("got %+v", r)
	}
	m.publish(t, "rack/t", string(stamped(1.5)))
	out.next(t, "a value", isGood(0, 1.5))
	m.stop()
	out.next(t, "the loss", hasCode(reading.Disconnected))
	m.start(t)
	until(t, "up", func() bool { return s.Status().Up })
	m.publish(t, "rack/t", string(stamped(2.5)))
	out.next(t, "a value", isGood(0, 2.5))
}

func TestPeerTrap20Clash(t *testing.T) {
	m := newMosquitto(t, "allow_anonymous true")
	_, out, stop := run(t, settings(t, m.address()))
	defer stop()
	_, _, stopOther := run(t, settings(t, m.address()))
	defer stopOther()
	out.next(t, "the words", func(r reading.Reading) bool { return strings.Contains(r.Reason, "another client probably") })
}

func TestPeerWrongPassword(t *testing.T) {
	file := filepath.Join(t.TempDir(), "passwords")
	if os.Getenv("DEWGAP_PEERS") != "" {
		if out, err := exec.Command("mosquitto_passwd", "-c", "-b", file, "gateway", "right").CombinedOutput(); err != nil {
			t.Fatalf("mosquitto_passwd: %v: %s", err, out)
		}
	}
	m := newMosquitto(t, "allow_anonymous false\npassword_file "+file)
	set := settings(t, m.address())
	set.Username, set.Password = "gateway", "wrong"
	s, out, stop := run(t, set)
	out.next(t, "the refusal", hasCode(reading.Refused))
	if st := s.Status(); st.Up || !strings.Contains(st.Reason, "does not accept user name") || strings.Contains(fmt.Sprintf("%+v %#v", st, set), "wrong") {
		t.Errorf("status %+v", st)
	}
	stop()
	set.Password = "right"
	s, _, stop = run(t, set)
	defer stop()
	until(t, "up", func() bool { return s.Status().Up })
}

func TestPeerTLS(t *testing.T) {
	dir := t.TempDir()
	ca, cert, key := certificates(t, dir)
	m := newMosquitto(t, fmt.Sprintf("allow_anonymous true\ncafile %s\ncertfile %s\nkeyfile %s\nrequire_certificate true", ca, cert, key))
	set := settings(t, m.address())
	set.URL = "ssl://" + m.address()
	set.CAFile, set.CertFile, set.KeyFile = ca, cert, key
	s, out, stop := run(t, set)
	until(t, "up", func() bool { return s.Status().Up })
	m.publish(t, "rack/s", "4.5", "--cafile", ca, "--cert", cert, "--key", key)
	out.next(t, "a value", isGood(1, 4.5))
	stop()

	set.CAFile = "" // the machine's own authorities do not know it
	s, out, stop = run(t, set)
	defer stop()
	out.next(t, "the refusal", hasCode(reading.Refused))
	if reason := s.Status().Reason; !strings.Contains(reason, "certificate is not trusted") {
		t.Errorf("reason %q", reason)
	}
}

// certificates makes one that is its own authority, server and client.
func certificates(t *testing.T, dir string) (ca, cert, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		KeyUsage:    x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalECPrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for path, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "EC PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, cert, key
}
