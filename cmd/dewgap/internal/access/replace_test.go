package access

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// loaded reads a web configuration, which must be right.
func loaded(t *testing.T, file string, operators ...string) *Policy {
	t.Helper()
	p, err := Load(file, operators)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Users, passwords, roles and headers are those of the newest file from the next
// request on; nobody stays known by what was right before.
func TestReplace(t *testing.T) {
	p := twoUsers(t)
	guarded := p.Guard(whoAmI)
	for _, user := range []string{"anna apple", "bert birch"} {
		name, password, _ := strings.Cut(user, " ")
		if w := ask(guarded, "192.0.2.1", name, password); w.Code != 200 {
			t.Fatalf("%s: %d", user, w.Code)
		}
	}
	next := loaded(t, write(t, fmt.Sprintf("http_server_config:\n  headers:\n    X-Frame-Options: deny\nbasic_auth_users:\n  anna: %s\n  carl: %s\n", hash(t, "almond"), hash(t, "cedar"))), "carl")
	if err := p.Replaceable(next); err != nil {
		t.Fatal(err)
	}
	p.Replace(next)
	for user, want := range map[string]string{
		"anna apple":  "401 a name and its password are needed\n",
		"bert birch":  "401 a name and its password are needed\n",
		"anna almond": "200 anna false true",
		"carl cedar":  "200 carl true true",
	} {
		name, password, _ := strings.Cut(user, " ")
		w := ask(guarded, "192.0.2.2", name, password)
		if got := fmt.Sprint(w.Code, " ", w.Body); got != want || w.Header().Get("X-Frame-Options") != "deny" {
			t.Errorf("%s: %q with %v, want %q", user, got, w.Header(), want)
		}
	}
}

// A client whose authority has left is refused at its next connection, although it
// could resume its session. TLS itself cannot come or go.
func TestReplaceAuthorities(t *testing.T) {
	const text = "tls_server_config:\n  cert_file: gateway.pem\n  key_file: gateway.key\n  client_auth_type: RequireAndVerifyClientCert\n  client_ca_file: %s.pem\n"
	file := write(t, fmt.Sprintf(text, "watch"))
	dir := filepath.Dir(file)
	certificate(t, dir, "gateway")
	clients := map[string]tls.Certificate{"watch": certificate(t, dir, "watch"), "other": certificate(t, dir, "other")}
	p := loaded(t, file, "watch")
	l, err := tls.Listen("tcp", "127.0.0.1:0", p.TLS())
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{Handler: p.Guard(whoAmI)}
	served := make(chan error, 1)
	go func() { served <- server.Serve(l) }()
	defer func() { server.Close(); <-served }()
	roots := x509.NewCertPool()
	ca, err := os.ReadFile(filepath.Join(dir, "gateway.pem"))
	if err != nil || !roots.AppendCertsFromPEM(ca) {
		t.Fatal(err)
	}
	sessions := map[string]tls.ClientSessionCache{"watch": tls.NewLRUClientSessionCache(4), "other": tls.NewLRUClientSessionCache(4)}
	// get asks over a new connection and reports whether it resumed a session.
	get := func(name string) (code int, resumed bool) {
		transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, Certificates: []tls.Certificate{clients[name]}, ClientSessionCache: sessions[name]}}
		defer transport.CloseIdleConnections()
		w, err := (&http.Client{Transport: transport}).Get("https://" + l.Addr().String())
		if err != nil {
			return 0, false
		}
		w.Body.Close()
		return w.StatusCode, w.TLS.DidResume
	}
	if code, _ := get("watch"); code != 200 {
		t.Fatalf("watch is answered %d", code)
	}
	if code, resumed := get("watch"); code != 200 || !resumed {
		t.Errorf("watch is answered %d, resumed %t: the test shows nothing of resumed sessions", code, resumed)
	}
	if code, _ := get("other"); code != 0 {
		t.Errorf("other is answered %d", code)
	}
	if err := os.WriteFile(file, fmt.Appendf(nil, text, "other"), 0o600); err != nil {
		t.Fatal(err)
	}
	next := loaded(t, file, "other")
	if err := p.Replaceable(next); err != nil {
		t.Fatal(err)
	}
	p.Replace(next)
	if code, _ := get("watch"); code != 0 {
		t.Errorf("watch is still answered: %d", code)
	}
	if code, _ := get("other"); code != 200 {
		t.Errorf("other is answered %d", code)
	}
	if err := p.Replaceable(twoUsers(t)); err == nil || !strings.Contains(err.Error(), "restart") {
		t.Errorf("TLS goes: %v", err)
	}
	if err := twoUsers(t).Replaceable(p); err == nil || !strings.Contains(err.Error(), "restart") {
		t.Errorf("TLS comes: %v", err)
	}
}
