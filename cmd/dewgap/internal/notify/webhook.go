package notify

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptrace"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	"dewgap/config"
)

// mostBody bounds a body of a template's own.
const mostBody = 64 << 10

// webhook posts messages over HTTP.
type webhook struct {
	set    *config.Notify
	client *http.Client
}

// newClient returns a client that follows no redirect: what is told goes where
// the configuration says and nowhere else.
func newClient(t *config.Notify) (*http.Client, error) {
	roots, err := rootsOf(t.CAFile)
	if err != nil {
		return nil, err
	}
	return &http.Client{
		Transport: &http.Transport{
			Proxy:               http.ProxyFromEnvironment,
			DialContext:         (&net.Dialer{Timeout: sendLimit / 2}).DialContext,
			TLSClientConfig:     &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12},
			TLSHandshakeTimeout: sendLimit / 2,
			MaxIdleConns:        1,
			IdleConnTimeout:     time.Minute,
			ForceAttemptHTTP2:   true,
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Timeout:       sendLimit,
	}, nil
}

// rootsOf reads the authorities of a file; nil where none is named: the machine's.
func rootsOf(file string) (*x509.CertPool, error) {
	if file == "" {
		return nil, nil
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("read ca_file: %w", err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("ca_file %s holds no certificate in PEM form", file)
	}
	return roots, nil
}

func newWebhook(t *config.Notify) (sender, error) {
	client, err := newClient(t)
	if err != nil {
		return nil, err
	}
	return &webhook{set: t, client: client}, nil
}

func (h *webhook) close() { h.client.CloseIdleConnections() }

func (h *webhook) send(ctx context.Context, m *Message) error {
	body, kind, err := h.body(m)
	if err != nil {
		return &failure{reason: err.Error(), verdict: refused}
	}
	header := h.set.Headers.Clone()
	if header == nil {
		header = http.Header{}
	}
	header.Set("Content-Type", kind)
	now := strconv.FormatInt(time.Now().Unix(), 10)
	header.Set("Webhook-Id", m.ID)
	header.Set("Webhook-Timestamp", now)
	if len(h.set.Secret) > 0 {
		var signatures []string
		for _, key := range h.set.Secret {
			signatures = append(signatures, sign([]byte(key), m.ID, now, body))
		}
		header.Set("Webhook-Signature", strings.Join(signatures, " "))
	}
	return post(ctx, h.client, h.set, h.set.URL, header, body)
}

// sign returns the signature of a message as Standard Webhooks has it: HMAC-SHA256
// over id, time stamp in Unix seconds and body, with a full stop between them.
func sign(key []byte, id, stamp string, body []byte) string {
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(id + "." + stamp + "."))
	mac.Write(body)
	return "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
}

// body returns what is posted, and its type.
func (h *webhook) body(m *Message) ([]byte, string, error) {
	var b bytes.Buffer
	if h.set.Body == nil {
		enc := json.NewEncoder(&b)
		enc.SetEscapeHTML(false)
		err := enc.Encode(m)
		return b.Bytes(), "application/json", err
	}
	fields := config.MessageFields{ID: m.ID, Type: m.Type, Site: m.Site, Title: m.Title, Text: m.Text, Link: m.Link, Severity: m.Severity}
	err := h.set.Body.Execute(&limited{to: &b, left: mostBody}, fields)
	if err != nil {
		err = fmt.Errorf("the template body cannot be filled in: %w", err)
	}
	return b.Bytes(), h.set.ContentType, err
}

// limited refuses what is longer than it should be.
type limited struct {
	to   io.Writer
	left int
}

func (l *limited) Write(p []byte) (int, error) {
	if l.left -= len(p); l.left < 0 {
		return 0, fmt.Errorf("it is longer than %d bytes", mostBody)
	}
	return l.to.Write(p)
}

// post sends one request and judges the answer.
func post(ctx context.Context, client *http.Client, t *config.Notify, address string, header http.Header, body []byte) error {
	connected := false
	ctx = httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{GotConn: func(httptrace.GotConnInfo) { connected = true }})
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(body))
	if err != nil {
		return &failure{reason: "the URL cannot be used", verdict: refused}
	}
	r.Header = header
	if t.Username != "" || t.Password != "" {
		r.SetBasicAuth(t.Username, string(t.Password))
	}
	answer, err := client.Do(r)
	if err != nil {
		var u *url.Error
		if errors.As(err, &u) {
			err = u.Err // without the URL, which may be secret
		}
		return &failure{reason: t.Address() + ": " + err.Error(), sure: !connected}
	}
	defer answer.Body.Close()
	said, _ := io.ReadAll(io.LimitReader(answer.Body, 200)) // what is wrong stands at its beginning
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, 64<<10))
	return judge(t, answer, string(said))
}

// judge returns what follows from an answer.
func judge(t *config.Notify, answer *http.Response, said string) error {
	code := answer.StatusCode
	f := &failure{reason: fmt.Sprintf("%s answered %d %s", t.Address(), code, http.StatusText(code))}
	if said = strings.Join(strings.Fields(strings.ToValidUTF8(said, "")), " "); said != "" {
		f.reason += ": " + said
	}
	switch {
	case code >= 200 && code < 300:
		return nil
	case code >= 300 && code < 400:
		f.verdict = refused
		f.reason += "; redirects are not followed: write the new address as url"
	case code == http.StatusGone:
		f.verdict = gone
	case code == http.StatusTooManyRequests || code == http.StatusServiceUnavailable:
		f.sure = true
		f.after = retryAfter(answer.Header.Get("Retry-After"))
	case code == http.StatusRequestTimeout, code >= 500:
	default:
		f.verdict = refused
	}
	return f
}

// retryAfter reads the header of that name (RFC 9110, section 10.2.3).
func retryAfter(text string) time.Duration {
	if seconds, err := strconv.ParseUint(text, 10, 31); err == nil {
		return time.Duration(seconds) * time.Second
	}
	if at, err := http.ParseTime(text); err == nil {
		return max(0, time.Until(at))
	}
	return 0
}
