// Package access decides who may ask the page and how much: TLS, passwords and
// roles by the web configuration file of the Prometheus exporters, and limits
// that hold however many clients ask.
//
// It may import exporter-toolkit for that file's form and for TLS. It must never
// import what it guards.
package access

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	toolkit "github.com/prometheus/exporter-toolkit/web"
	"go.yaml.in/yaml/v2"
	"golang.org/x/crypto/bcrypt"
)

// Policy is who may reach the page. The zero value asks for nothing.
type Policy struct {
	current atomic.Pointer[rules] // nil: there are none
	guesses guesses
	check   sync.Mutex // one comparison at a time: they cost much
}

// rules are what one file says.
type rules struct {
	tls       *tls.Config
	headers   map[string]string
	users     map[string][]byte // bcrypt hashes
	operators []string

	mu    sync.Mutex
	known map[[sha256.Size]byte]bool // of users with passwords that were right
}

func (p *Policy) rules() *rules {
	if r := p.current.Load(); r != nil {
		return r
	}
	return &rules{}
}

// Replaceable returns why next cannot take the place of p while the page listens;
// nil when it can.
func (p *Policy) Replaceable(next *Policy) error {
	if p.Scheme() != next.Scheme() {
		return fmt.Errorf("the page is at %s:// and would be at %s://, which takes a restart", p.Scheme(), next.Scheme())
	}
	return nil
}

// Replace puts next in force: users, operators, headers, certificates and
// authorities, from the next request and the next handshake on. Nobody stays known
// by a password that was right under the old ones.
func (p *Policy) Replace(next *Policy) { p.current.Store(next.rules()) }

// unknownUser is what the password of a user that does not exist is compared
// with, so that the time of the answer does not tell who exists.
var unknownUser = func() []byte {
	hash, err := bcrypt.GenerateFromPassword([]byte("nobody"), bcrypt.DefaultCost)
	if err != nil {
		panic(err) // a fixed, short password
	}
	return hash
}()

// maxKnown bounds the memory of passwords that were right.
const maxKnown = 256

// Load reads the web configuration file of the Prometheus exporters. Of its
// users, or of the common names of client certificates where it has no users,
// operators may change something (acknowledge, maintenance); all others
// only read.
func Load(file string, operators []string) (*Policy, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("web configuration: %w", err)
	}
	if err := toolkit.Validate(file); err != nil {
		return nil, fmt.Errorf("web configuration %s: %w", file, err)
	}
	c := toolkit.Config{TLSConfig: toolkit.TLSConfig{MinVersion: tls.VersionTLS12, MaxVersion: tls.VersionTLS13}}
	if err := yaml.UnmarshalStrict(text, &c); err != nil {
		return nil, fmt.Errorf("web configuration %s: %w", file, err)
	}
	if c.RateLimiterConfig.Interval != 0 {
		return nil, fmt.Errorf("web configuration %s: rate_limit: leave it out, dewgap limits requests and guesses of passwords by itself", file)
	}
	r := &rules{headers: c.HTTPConfig.Header, users: map[string][]byte{}, operators: operators, known: map[[sha256.Size]byte]bool{}}
	c.TLSConfig.SetDirectory(filepath.Dir(file))
	if c.TLSConfig.IsEnabled() {
		if r.tls, err = toolkit.ConfigToTLSConfig(&c.TLSConfig); err != nil {
			return nil, fmt.Errorf("web configuration %s: %w", file, err)
		}
		r.tls.NextProtos = []string{"http/1.1"} // one request a connection: the limit of connections is one of requests
		// A session that began under other rules is not resumed.
		var key [32]byte
		if _, err := rand.Read(key[:]); err != nil {
			return nil, err
		}
		r.tls.SetSessionTicketKeys([][32]byte{key})
	}
	for name, hash := range c.Users {
		r.users[name] = []byte(hash)
	}
	p := &Policy{}
	p.current.Store(r)
	for _, name := range operators {
		if len(r.users) > 0 && r.users[name] == nil {
			return nil, fmt.Errorf("web configuration %s: operator %q is not among basic_auth_users", file, name)
		}
	}
	if len(operators) > 0 && !p.Authenticates() {
		return nil, fmt.Errorf("web configuration %s: operator %q cannot be known: name basic_auth_users, or require client certificates", file, operators[0])
	}
	return p, nil
}

// TLS is the configuration of the listener; nil: plain HTTP. Each handshake is by
// the rules that are in force then.
func (p *Policy) TLS() *tls.Config {
	r := p.rules()
	if r.tls == nil {
		return nil
	}
	c := r.tls.Clone()
	c.GetConfigForClient = func(*tls.ClientHelloInfo) (*tls.Config, error) { return p.rules().tls, nil }
	return c
}

// Scheme is that of the page's address.
func (p *Policy) Scheme() string {
	if p != nil && p.rules().tls != nil {
		return "https"
	}
	return "http"
}

// Authenticates reports whether clients have to say who they are, by password
// or by certificate.
func (p *Policy) Authenticates() bool {
	r := p.rules()
	return len(r.users) > 0 || r.tls != nil && r.tls.ClientAuth >= tls.RequireAndVerifyClientCert
}

// User is who asks.
type User struct {
	Name    string // as authenticated; empty: nobody was asked
	Operate bool   // may acknowledge and set maintenance
}

type userKey struct{}

// UserOf returns who asks; false where nobody is asked who they are.
func UserOf(ctx context.Context) (User, bool) {
	u, ok := ctx.Value(userKey{}).(User)
	return u, ok
}

// Guard returns next behind the policy: who asks is in the request's context.
func (p *Policy) Guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		rules := p.rules()
		for name, value := range rules.headers {
			w.Header().Set(name, value)
		}
		if len(rules.users) == 0 {
			if name := certificateName(r); name != "" {
				r = r.WithContext(context.WithValue(r.Context(), userKey{}, User{name, slices.Contains(rules.operators, name)}))
			}
			next.ServeHTTP(w, r)
			return
		}
		from := address(r.RemoteAddr)
		if wait := p.guesses.wait(from, time.Now()); wait > 0 {
			w.Header().Set("Retry-After", strconv.Itoa(int(wait/time.Second)+1))
			http.Error(w, "too many wrong passwords from here: wait", http.StatusTooManyRequests)
			return
		}
		name, password, ok := r.BasicAuth()
		if !ok || !rules.right(name, password, &p.check) {
			if ok {
				p.guesses.wrong(from, time.Now())
			}
			w.Header().Set("WWW-Authenticate", `Basic realm="dewgap", charset="UTF-8"`)
			http.Error(w, "a name and its password are needed", http.StatusUnauthorized)
			return
		}
		p.guesses.right(from)
		user := User{name, slices.Contains(rules.operators, name)}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), userKey{}, user)))
	})
}

// certificateName is the common name of a client certificate that was verified.
func certificateName(r *http.Request) string {
	if r.TLS == nil || len(r.TLS.VerifiedChains) == 0 {
		return ""
	}
	return r.TLS.VerifiedChains[0][0].Subject.CommonName
}

// right compares a password with the user's hash. One that was right is
// remembered, by its digest: a comparison takes a tenth of a second and more.
func (r *rules) right(name, password string, check *sync.Mutex) bool {
	digest := sha256.New()
	fmt.Fprintf(digest, "%d:%s:%s", len(name), name, password)
	key := [sha256.Size]byte(digest.Sum(nil))
	r.mu.Lock()
	known := r.known[key]
	r.mu.Unlock()
	if known {
		return true
	}
	hash, exists := r.users[name]
	if !exists {
		hash = unknownUser
	}
	check.Lock()
	err := bcrypt.CompareHashAndPassword(hash, []byte(password))
	check.Unlock()
	if err != nil || !exists {
		return false
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.known) >= maxKnown {
		clear(r.known)
	}
	r.known[key] = true
	return true
}

func address(hostPort string) string {
	host, _, err := net.SplitHostPort(hostPort)
	if err != nil {
		return hostPort
	}
	return host
}

// How wrong passwords slow their address down. Common practice, no source: a
// person who mistypes twice waits for nothing, a program for a minute each time.
const (
	freeGuesses  = 3
	firstWait    = time.Second
	longestWait  = time.Minute
	maxAddresses = 1024
)

// guesses counts wrong passwords by address. The zero value is ready.
type guesses struct {
	mu     sync.Mutex
	counts map[string]*guess
}

type guess struct {
	wrong int
	until time.Time
}

// wait returns how long the address has to wait.
func (g *guesses) wait(from string, now time.Time) time.Duration {
	g.mu.Lock()
	defer g.mu.Unlock()
	if c := g.counts[from]; c != nil {
		return max(0, c.until.Sub(now))
	}
	return 0
}

func (g *guesses) wrong(from string, now time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	c := g.counts[from]
	if c == nil {
		if len(g.counts) >= maxAddresses || g.counts == nil {
			g.counts = map[string]*guess{} // bounded; whoever guesses from a thousand addresses is not slowed
		}
		c = &guess{}
		g.counts[from] = c
	}
	c.wrong++
	if n := c.wrong - freeGuesses; n >= 0 {
		c.until = now.Add(min(longestWait, firstWait<<min(n, 10)))
	}
}

func (g *guesses) right(from string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.counts, from)
}
