package config

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"time"

	"dewgap/analyze/setting"
	"dewgap/collector/mqtt"
)

// RemoteWrite is a receiver of metrics by Prometheus remote write 1.0.
type RemoteWrite struct {
	Name string
	// URL may hold a token, so it is not shown whole: see Address.
	URL      string
	Username string
	Password mqtt.Secret
	CAFile   string
	Headers  http.Header   // some of them secret
	Every    time.Duration // from one sample of a series to the next
}

// Address returns where the receiver is, without what may be secret.
func (r *RemoteWrite) Address() string {
	u, err := url.Parse(r.URL)
	if err != nil {
		return r.Name
	}
	return u.Scheme + "://" + u.Host
}

// maxReceivers bounds the receivers: each has an analysis of its own.
const maxReceivers = 4

// remoteWriteRows are the keys of [[remote_write]].
var remoteWriteRows = []setting.Row[RemoteWrite]{
	{
		Key: "name", Field: setting.ByHand[RemoteWrite]("text", "", nameRange), Needed: "always",
		Meaning: "Name of the receiver, for page, log and metrics.", Example: `"central"`,
	},
	{
		Key: "url", Field: setting.ByHand[RemoteWrite]("text", "", "http, https"), Needed: "unless url_file is given",
		Meaning: "Where it takes remote write. No more than the host is shown to anybody.", Example: `"https://metrics.example/api/v1/write"`,
	},
	{
		Key: "url_file", Field: setting.ByHand[RemoteWrite]("text", "", "a file"),
		Meaning: "File whose first line is the URL, where that is a secret itself; a relative path starts at the configuration.", Example: `"central.url"`,
	},
	{
		Key: "username", Field: setting.Plain(func(r *RemoteWrite) *string { return &r.Username }, ""),
		Meaning: "User at the receiver.", Example: `"store-17"`,
	},
	{
		Key: "password_file", Field: setting.ByHand[RemoteWrite]("text", "", "a file"),
		Meaning: "File whose first line is the password.", Example: `"central.password"`,
	},
	{
		Key: "ca_file", Field: setting.ByHand[RemoteWrite]("text", "", "a file with certificates in PEM form"),
		Meaning: "Authorities that the receiver's certificate is checked against, in place of the machine's.", Example: `"ca.pem"`,
	},
	{
		Key: "headers", Field: setting.ByHand[RemoteWrite]("list of texts", "none", ""),
		Meaning: "Further headers.", Example: `["X-Scope-OrgID: stores"]`,
	},
	{
		Key: "header_file", Field: setting.ByHand[RemoteWrite]("text", "", "a file"),
		Meaning: "File with further headers that are secret, one a line, such as Authorization.", Example: `"central.headers"`,
	},
	{
		Key: "every", Field: setting.Within(func(r *RemoteWrite) *time.Duration { return &r.Every }, 30*time.Second, time.Second, 5*time.Minute),
		Meaning: "Time from one sample of a series to the next; the first row of each such span is sent. They leave when the recording is written: see daemon.record_every.", Example: `"30 s"`, Source: practice,
	},
}

// writtenByUs are the headers that belong to the protocol.
var writtenByUs = []string{"Content-Type", "Content-Encoding", "User-Agent", "X-Prometheus-Remote-Write-Version"}

// remoteWrite reads the [[remote_write]] tables, after [daemon].
func (b *builder) remoteWrite(root *table) {
	taken := make(names)
	for n, t := range root.inners("remote_write", "[[remote_write]]") {
		r := setting.Defaults(remoteWriteRows)
		r.Name = taken.take(t, "receiver", "central")
		read(t, remoteWriteRows, &r)
		if n == maxReceivers {
			t.fault("name", fmt.Sprintf("is of more than %d receivers", maxReceivers), "let one of them pass it on")
		}
		b.receiver(t, &r)
		if line, ok := b.secretLine(t, "password_file", "central.password"); ok {
			r.Password = mqtt.Secret(line)
			if !t.has("username") {
				t.warn("username", "is missing beside a password", `add username = "…"`)
			}
		}
		r.CAFile = b.readable(t, "ca_file", "ca.pem")
		r.Headers = http.Header{}
		list, _ := t.texts("headers", `["X-Scope-OrgID: stores"]`)
		for _, line := range list {
			b.header(t, "headers", line, r.Headers)
		}
		for _, line := range b.secretLines(t, "header_file", "central.headers") {
			b.header(t, "header_file", line, r.Headers)
		}
		for _, name := range writtenByUs {
			if r.Headers.Get(name) != "" {
				t.fault("headers", "set "+name+", which belongs to the protocol", "leave it out")
			}
		}
		if n == 0 && !b.config.Daemon.Record {
			t.fault("name", "is of a receiver, which gets what the recordings hold, and there are none", "leave out daemon.record = false")
		}
		t.done()
		b.config.RemoteWrite = append(b.config.RemoteWrite, r)
	}
}

// receiver reads where a receiver is. What the text holds is never shown: a token
// may be in it.
func (b *builder) receiver(t *table, r *RemoteWrite) {
	const want = "write https://HOST/PATH"
	key := "url"
	text, ok := t.text("url", "https://metrics.example/api/v1/write")
	if t.has("url_file") {
		if t.has("url") {
			t.fault("url_file", "is given beside url", "keep one of the two")
		}
		key = "url_file"
		if text, ok = b.secretLine(t, key, "central.url"); text == "" {
			return // reported by secretLine: replay needs no receivers
		}
	}
	if !ok {
		if !t.has("url") {
			t.fault("url", "is missing", `add url = "https://HOST/PATH"`)
		}
		return
	}
	u, err := url.Parse(text)
	switch {
	case err != nil || !slices.Contains([]string{"http", "https"}, u.Scheme):
		t.fault(key, "is no address for remote write", want)
		return
	case u.Hostname() == "":
		t.fault(key, "has no host", want)
		return
	case u.User != nil:
		t.fault(key, "holds a user name or password", `write username = "…" and password_file = "…"`)
		return
	case u.Port() != "" && wrongHostPort(u.Host, false) != "":
		t.fault(key, wrongHostPort(u.Host, false), want)
		return
	}
	if u.Scheme == "http" && (t.has("password_file") || t.has("header_file")) && !Loopback(u.Host) && u.Hostname() != "localhost" {
		t.warn(key, "sends a password or a secret header in the clear", want)
	}
	r.URL = u.String()
}
