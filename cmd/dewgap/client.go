package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/user"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/config"
)

// daemonAt is where a running daemon answers. Commands that change its journal
// go through it, since the daemon holds the journal.
type daemonAt struct {
	Config       string `type:"path" placeholder:"FILE" help:"Configuration of the site: where its daemon listens."`
	URL          string `name:"url" placeholder:"URL" help:"The page's address, in place of --config."`
	User         string `placeholder:"NAME" help:"User of the page, where it asks for one."`
	PasswordFile string `type:"path" placeholder:"FILE" help:"File that holds this user's password."`
	CA           string `name:"ca" type:"path" placeholder:"FILE" help:"Certificate that the page's own is signed by, where this machine does not know it."`
	By           string `placeholder:"NAME" help:"Who does this; by default this machine's user. Where the page asks for a user, it is that user."`
}

// client asks a running daemon.
type client struct {
	base           string
	user, password string
	http           *http.Client
}

// answerTime bounds a request: the daemon answers between two rows.
const answerTime = 30 * time.Second

// maxAnswer bounds an answer, in bytes; 5,000 events take some 15 MB.
const maxAnswer = 64 << 20

func (d *daemonAt) client() (*client, error) {
	c := &client{user: d.User, http: &http.Client{Timeout: answerTime}}
	switch {
	case d.URL != "":
		u, err := url.Parse(d.URL)
		if err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "" {
			return nil, usageError{fmt.Errorf("--url %q is no address of a page: write it like http://127.0.0.1:9480", d.URL)}
		}
		c.base = strings.TrimSuffix(u.Scheme+"://"+u.Host+u.Path, "/")
	case d.Config != "":
		cfg, err := config.Load(d.Config)
		if err != nil {
			return nil, err
		}
		policy, err := policyOf(&cfg.Daemon, cfg.Daemon.Listen)
		if err != nil {
			return nil, err
		}
		c.base = policy.Scheme() + "://" + reachable(cfg.Daemon.Listen)
	default:
		return nil, usageError{errors.New("where is the daemon? give --config with its site file, or --url with the page's address")}
	}
	if d.PasswordFile != "" {
		text, err := os.ReadFile(d.PasswordFile)
		if err != nil {
			return nil, err
		}
		c.password = strings.TrimRight(string(text), "\r\n")
	}
	if d.CA != "" {
		text, err := os.ReadFile(d.CA)
		if err != nil {
			return nil, err
		}
		pool := x509.NewCertPool()
		if !pool.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("%s holds no certificate in PEM form", d.CA)
		}
		c.http.Transport = &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}}
	}
	return c, nil
}

// reachable returns the address by which this machine reaches what listens on
// listen.
func reachable(listen string) string {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return listen
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return net.JoinHostPort(host, port)
}

// who is whom the daemon is told where it authenticates nobody.
func (d *daemonAt) who() string {
	if d.By != "" {
		return d.By
	}
	if name := os.Getenv("SUDO_USER"); name != "" {
		return name
	}
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return ""
}

// call sends a request and decodes the answer into result.
func (c *client) call(ctx context.Context, method, path string, ask, result any) error {
	var body io.Reader
	if ask != nil {
		text, err := json.Marshal(ask)
		if err != nil {
			return err
		}
		body = bytes.NewReader(text)
	}
	text, err := c.send(ctx, method, path, body)
	if err != nil || result == nil {
		return err
	}
	if err := json.Unmarshal(text, result); err != nil {
		return fmt.Errorf("answer of %s%s: %w; is it a dewgap of this version?", c.base, path, err)
	}
	return nil
}

func (c *client) send(ctx context.Context, method, path string, body io.Reader) ([]byte, error) {
	r, err := http.NewRequestWithContext(ctx, method, c.base+path, body)
	if err != nil {
		return nil, err
	}
	r.Header.Set("Content-Type", "application/json")
	if c.user != "" {
		r.SetBasicAuth(c.user, c.password)
	}
	answer, err := c.http.Do(r)
	if err != nil {
		var cause *url.Error
		if errors.As(err, &cause) {
			err = cause.Err
		}
		return nil, fmt.Errorf("reach the daemon at %s: %w; is it running there? --url takes the page's address", c.base, err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(io.LimitReader(answer.Body, maxAnswer))
	if err != nil {
		return nil, fmt.Errorf("read the answer of %s: %w", c.base, err)
	}
	if answer.StatusCode == http.StatusOK {
		return text, nil
	}
	var refusal struct {
		Error string `json:"error"`
	}
	reason := strings.TrimSpace(string(text))
	if json.Unmarshal(text, &refusal) == nil && refusal.Error != "" {
		reason = refusal.Error
	}
	if answer.StatusCode == http.StatusUnauthorized {
		reason += "; give --user and --password-file"
	}
	return nil, errors.New(reason)
}

// close lets the connection go.
func (c *client) close() { c.http.CloseIdleConnections() }

// event finds the event with an id, or the only one whose id begins or ends so.
func (c *client) event(ctx context.Context, id string) (alert.Event, error) {
	text, err := c.send(ctx, http.MethodGet, "/api/v1/events", nil)
	if err != nil {
		return alert.Event{}, err
	}
	events, err := eventLines(bytes.NewReader(text), "answer of "+c.base+"/api/v1/events")
	if err != nil {
		return alert.Event{}, err
	}
	return findEvent(events, id)
}

// until returns the end of something that begins now: a time, or how long from
// now by the daemon's time, which a demo runs faster than the wall clock.
func (c *client) until(ctx context.Context, text string) (string, error) {
	if text == "" {
		return "", nil
	}
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at.UTC().Format(time.RFC3339), nil
	}
	length, err := time.ParseDuration(text)
	if days, found := strings.CutSuffix(text, "d"); found && err != nil {
		if length, err = time.ParseDuration(days + "h"); err == nil {
			length *= 24
		}
	}
	if err != nil || length <= 0 {
		return "", usageError{fmt.Errorf("--until %q: give a time with its zone, as in 2026-03-01T18:00:00Z, or how long, as in 90m, 4h or 2d", text)}
	}
	var state struct {
		Time *time.Time `json:"time"`
	}
	if err := c.call(ctx, http.MethodGet, "/api/v1/state", nil, &state); err != nil {
		return "", err
	}
	if state.Time == nil {
		return "", errors.New("the daemon has not read anything yet: try again in a moment")
	}
	return state.Time.Add(length).UTC().Format(time.RFC3339), nil
}
