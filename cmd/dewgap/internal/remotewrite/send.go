package remotewrite

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	"dewgap/config"
)

// sendLimit is how long one attempt may take. Common practice, no source.
const sendLimit = 30 * time.Second

// verdictKind is what follows from an answer.
type verdictKind uint8

const (
	taken      verdictKind = iota
	again                  // try again later
	passedOver             // it will never be taken: go on
	tooOld                 // it will never be taken, for its time
	tooLarge               // a part of it may be taken
)

// newClient returns a client that follows no redirect: metrics go where the
// configuration says and nowhere else.
func newClient(set *config.RemoteWrite) (*http.Client, error) {
	var roots *x509.CertPool // nil: the machine's
	if set.CAFile != "" {
		text, err := os.ReadFile(set.CAFile)
		if err != nil {
			return nil, fmt.Errorf("read ca_file: %w", err)
		}
		roots = x509.NewCertPool()
		if !roots.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("ca_file %s holds no certificate in PEM form", set.CAFile)
		}
	}
	return &http.Client{
		Transport: &http.Transport{
			Proxy:               http.ProxyFromEnvironment,
			DialContext:         (&net.Dialer{Timeout: sendLimit / 2}).DialContext,
			TLSClientConfig:     &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12},
			TLSHandshakeTimeout: sendLimit / 2,
			MaxIdleConns:        1,
			IdleConnTimeout:     2 * time.Minute,
			ForceAttemptHTTP2:   true,
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Timeout:       sendLimit,
	}, nil
}

// send makes one attempt. wait is what the receiver asks for; 0: it does not say.
func (r *receiver) send(ctx context.Context, body []byte) (v verdictKind, wait time.Duration, reason string) {
	q, err := http.NewRequestWithContext(ctx, http.MethodPost, r.set.URL, bytes.NewReader(body))
	if err != nil {
		return again, mostBack, "the URL cannot be used"
	}
	q.Header = r.set.Headers.Clone()
	if q.Header == nil {
		q.Header = http.Header{}
	}
	q.Header.Set("Content-Type", "application/x-protobuf")
	q.Header.Set("Content-Encoding", "snappy")
	q.Header.Set("User-Agent", "dewgap/"+r.common.Build.Version)
	q.Header.Set("X-Prometheus-Remote-Write-Version", "0.1.0") // the version header of protocol 1.0
	if r.set.Username != "" || r.set.Password != "" {
		q.SetBasicAuth(r.set.Username, string(r.set.Password))
	}
	answer, err := r.client.Do(q)
	if err != nil {
		var u *url.Error
		if errors.As(err, &u) {
			err = u.Err // without the URL, which may be secret
		}
		return again, 0, r.set.Address() + ": " + err.Error()
	}
	defer answer.Body.Close()
	said, _ := io.ReadAll(io.LimitReader(answer.Body, 512)) // what is wrong stands at its beginning
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, 64<<10))
	v, wait = judge(answer.StatusCode, answer.Header, string(said))
	reason = fmt.Sprintf("%s answered %d %s", r.set.Address(), answer.StatusCode, http.StatusText(answer.StatusCode))
	if text := strings.Join(strings.Fields(strings.ToValidUTF8(string(said), "")), " "); text != "" {
		reason += ": " + text[:min(len(text), 200)]
	}
	if answer.StatusCode >= 300 && answer.StatusCode < 400 {
		reason += "; redirects are not followed: write the new address as url"
	}
	return v, wait, reason
}

// judge returns what follows from an answer. By the specification of remote write
// 1.0, 5xx is tried again and 4xx but 429 is not. Two exceptions: a Prometheus
// answers 500 to samples older than its window for late ones, which would be tried
// for ever; and an answer that comes of a wrong address or password costs no data.
func judge(code int, header http.Header, said string) (verdictKind, time.Duration) {
	switch {
	case code >= 200 && code < 300:
		return taken, 0
	case code == http.StatusBadRequest || code == http.StatusConflict || code == http.StatusUnprocessableEntity:
		return passedOver, 0
	case code == http.StatusRequestEntityTooLarge:
		return tooLarge, 0
	case code == http.StatusTooManyRequests || code == http.StatusServiceUnavailable:
		return again, retryAfter(header.Get("Retry-After"))
	case code == http.StatusInternalServerError && strings.Contains(strings.ToLower(said), "too old"):
		return tooOld, 0
	}
	return again, 0
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
