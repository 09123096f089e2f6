package access

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/bcrypt"
)

// write puts a web configuration into a directory of its own.
func write(t *testing.T, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "web.yml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func hash(t *testing.T, password string) string {
	t.Helper()
	h, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	return string(h)
}

// twoUsers has anna, who operates, and bert, who reads.
func twoUsers(t *testing.T) *Policy {
	t.Helper()
	p, err := Load(write(t, fmt.Sprintf("basic_auth_users:\n  anna: %s\n  bert: %s\n", hash(t, "apple"), hash(t, "birch"))), []string{"anna"})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// ask sends one request from an address and returns the answer.
func ask(h http.Handler, from, name, password string) *httptest.ResponseRecorder {
	r := httptest.NewRequest("GET", "/", nil)
	r.RemoteAddr = from + ":40000"
	if name != "" {
		r.SetBasicAuth(name, password)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// whoAmI answers with the user that a request came from.
var whoAmI = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
	u, known := UserOf(r.Context())
	fmt.Fprintf(w, "%s %v %v", u.Name, u.Operate, known)
})

func TestWhoMayAsk(t *testing.T) {
	guarded := twoUsers(t).Guard(whoAmI)
	for _, test := range []struct {
		name, password string
		status         int
		body           string
	}{
		{"anna", "apple", 200, "anna true true"},
		{"anna", "apple", 200, "anna true true"}, // from memory
		{"bert", "birch", 200, "bert false true"},
		{"anna", "birch", 401, "a name and its password are needed\n"},
		{"carl", "nobody", 401, "a name and its password are needed\n"}, // the stand-in for users that do not exist
		{"", "", 401, "a name and its password are needed\n"},
	} {
		w := ask(guarded, "192.0.2.1", test.name, test.password)
		if w.Code != test.status || w.Body.String() != test.body {
			t.Errorf("%s:%s: %d %q, want %d %q", test.name, test.password, w.Code, w.Body, test.status, test.body)
		}
		if w.Code == 401 && !strings.HasPrefix(w.Header().Get("WWW-Authenticate"), "Basic ") { // RFC 7617, section 2
			t.Errorf("challenge %q", w.Header().Get("WWW-Authenticate"))
		}
	}
	if w := ask((&Policy{}).Guard(whoAmI), "192.0.2.1", "", ""); w.Body.String() != " false false" {
		t.Errorf("without a file: %q", w.Body)
	}
}

// A program that guesses ten times a second gets one guess a minute in the end;
// another address is not slowed, nor is a person who mistypes twice.
func TestGuessesAreSlowed(t *testing.T) {
	var g guesses
	now, tried := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), 0
	for range 36_000 {
		if g.wait("192.0.2.66", now) == 0 {
			g.wrong("192.0.2.66", now)
			tried++
		}
		now = now.Add(100 * time.Millisecond)
	}
	if tried < 60 || tried > 70 {
		t.Errorf("%d guesses in an hour, want about one a minute", tried)
	}
	if w := g.wait("192.0.2.66", now); w <= 0 || w > longestWait {
		t.Errorf("a wait of %v after an hour of guesses", w)
	}
	if w := g.wait("192.0.2.66", now.Add(longestWait)); w != 0 {
		t.Errorf("still %v after the longest wait", w)
	}
	if w := g.wait("192.0.2.7", now); w != 0 {
		t.Errorf("another address waits %v", w)
	}
	g.right("192.0.2.66")
	if w := g.wait("192.0.2.66", now); w != 0 {
		t.Errorf("%v after a right password", w)
	}
}

// Three wrong passwords, and even the right one has to wait.
func TestGuardRefusesGuesses(t *testing.T) {
	guarded := twoUsers(t).Guard(whoAmI)
	for range freeGuesses {
		if w := ask(guarded, "192.0.2.8", "anna", "aple"); w.Code != 401 {
			t.Fatalf("status %d", w.Code)
		}
	}
	if w := ask(guarded, "192.0.2.8", "anna", "apple"); w.Code != 429 || w.Header().Get("Retry-After") != "1" {
		t.Errorf("status %d, Retry-After %q", w.Code, w.Header().Get("Retry-After"))
	}
	if w := ask(guarded, "192.0.2.7", "anna", "apple"); w.Code != 200 {
		t.Errorf("status %d for another address", w.Code)
	}
}

// What guessing costs in memory is bounded.
func TestGuessesAreBounded(t *testing.T) {
	var g guesses
	for i := range 5 * maxAddresses {
		g.wrong(fmt.Sprint(i), time.Time{})
		if len(g.counts) > maxAddresses {
			t.Fatalf("%d addresses", len(g.counts))
		}
	}
}

func TestFaultsOfTheFile(t *testing.T) {
	for name, test := range map[string]struct{ text, want string }{
		"unknown key":         {"users: {}\n", "users"},
		"a plain password":    {"basic_auth_users: { anna: apple }\n", "bcrypt"},
		"no certificate":      {"tls_server_config: { key_file: k.pem }\n", "cert"},
		"a limit of its own":  {"rate_limit: { interval: 1s, burst: 2 }\n", "rate_limit"},
		"nobody to know":      {"http_server_config: { http2: false }\n", "cannot be known"},
		"an unknown operator": {fmt.Sprintf("basic_auth_users: { bert: %q }\n", hash(t, "birch")), `operator "anna"`},
	} {
		if _, err := Load(write(t, test.text), []string{"anna"}); err == nil || !strings.Contains(err.Error(), test.want) || !strings.Contains(err.Error(), "web.yml") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Load(filepath.Join(t.TempDir(), "none.yml"), nil); err == nil {
		t.Error("a file that does not exist")
	}
}

// certificate writes a certificate and its key, signed by itself.
func certificate(t *testing.T, dir, name string) (cert tls.Certificate) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	certPEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	keyPEM := pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})
	for suffix, text := range map[string][]byte{".pem": certPEM, ".key": keyPEM} {
		if err := os.WriteFile(filepath.Join(dir, name+suffix), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cert, err = tls.X509KeyPair(certPEM, keyPEM)
	if err != nil {
		t.Fatal(err)
	}
	return cert
}

// A client without a certificate is refused, one with it is known by its name.
func TestClientCertificates(t *testing.T) {
	file := write(t, "tls_server_config:\n  cert_file: gateway.pem\n  key_file: gateway.key\n  client_auth_type: RequireAndVerifyClientCert\n  client_ca_file: watch.pem\n")
	certificate(t, filepath.Dir(file), "gateway")
	client := certificate(t, filepath.Dir(file), "watch")
	p, err := Load(file, []string{"watch"})
	if err != nil {
		t.Fatal(err)
	}
	if p.Scheme() != "https" || !p.Authenticates() {
		t.Error("not taken for TLS with authentication")
	}
	l, err := tls.Listen("tcp", "127.0.0.1:0", p.TLS())
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{Handler: p.Guard(whoAmI)}
	go server.Serve(l)
	defer server.Close()
	get := func(certs ...tls.Certificate) (string, error) {
		roots := x509.NewCertPool()
		text, _ := os.ReadFile(filepath.Join(filepath.Dir(file), "gateway.pem"))
		roots.AppendCertsFromPEM(text)
		transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, Certificates: certs}}
		defer transport.CloseIdleConnections()
		w, err := (&http.Client{Transport: transport}).Get("https://" + l.Addr().String())
		if err != nil {
			return "", err
		}
		defer w.Body.Close()
		body, err := io.ReadAll(w.Body)
		return fmt.Sprint(w.Proto, " ", w.StatusCode, " ", string(body)), err
	}
	if got, err := get(client); err != nil || got != "HTTP/1.1 200 watch true true" {
		t.Errorf("with a certificate: %q %v", got, err)
	}
	if _, err := get(); err == nil {
		t.Error("answered without a certificate")
	}
}

// Whatever the file holds, it is refused by its name, or whoever has no password is
// kept out where it has users.
func FuzzLoad(f *testing.F) {
	f.Add("")
	f.Add("basic_auth_users:\n  anna: $2a$04$7JqNVZvB0pZ1m0y0lqXx6uRkqAq3yX3yq0m0lqXx6uRkqAq3yX3yq\n")
	f.Add("tls_server_config:\n  cert_file: a.pem\n  key_file: b.pem\n  client_auth_type: RequireAndVerifyClientCert\n")
	f.Add("http_server_config:\n  http2: false\n  headers:\n    X-Frame-Options: deny\n")
	f.Add("rate_limit:\n  interval: 1s\n")
	f.Add("basic_auth_users: &a [*a, *a]\n")
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 4<<10 {
			t.Skip("a file of this size is slow, not different")
		}
		file := write(t, text)
		p, err := Load(file, nil)
		if err != nil {
			if p != nil || !strings.Contains(err.Error(), file) {
				t.Errorf("%v, %v", p, err)
			}
			return
		}
		inside := false
		w := httptest.NewRecorder()
		p.Guard(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { inside = true })).ServeHTTP(w, httptest.NewRequest("GET", "/", nil))
		if users := len(p.rules().users) > 0; inside == users {
			t.Errorf("users: %t, let in: %t", users, inside)
		}
	})
}
