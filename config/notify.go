package config

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/mail"
	"net/url"
	"os"
	"slices"
	"strings"
	"text/template"
	"time"

	"dewgap/analyze/floodback"
	"dewgap/analyze/setting"
	"dewgap/collector/mqtt"
)

// NotifyKind is the way in which a target is told.
type NotifyKind uint8

// Ways of telling.
const (
	Webhook NotifyKind = iota + 1 // HTTP POST
	Alertmanager
	Mail
	MQTT
)

var notifyKinds = []setting.Word[NotifyKind]{{Name: "webhook", Value: Webhook}, {Name: "alertmanager", Value: Alertmanager}, {Name: "mail", Value: Mail}, {Name: "mqtt", Value: MQTT}}

// String returns the word of the file for k.
func (k NotifyKind) String() string { return notifyKinds[k-1].Name }

// Notify is one target of notifications: who is told, of what, when and how.
type Notify struct {
	Name string
	Kind NotifyKind
	// URL may hold a token, so it is not shown whole: see Address.
	URL      string
	Username string
	Password mqtt.Secret
	CAFile   string

	Secret      []mqtt.Secret // keys that sign a webhook's messages, decoded; the newest first
	Headers     http.Header   // of a webhook, some of them secret
	Body        *template.Template
	ContentType string

	From string
	To   []string

	Prefix    string // of MQTT topics
	Discovery string // prefix under which a device is announced over MQTT; empty: it is not
	ClientID  string

	Least    int      // severity from which it is told: 1, 2 or 3 as alert.Event.Level
	Kinds    []string // of events; empty: all
	Groups   []string // empty: all
	Delay    time.Duration
	Unheeded time.Duration // told only of what nobody acknowledged for this long
	Repeat   time.Duration // 0: never
	Beat     time.Duration // between two signs of life; 0: none
	Quiet    Quiet
}

// Address returns where the target is, without what may be secret.
func (n *Notify) Address() string {
	u, err := url.Parse(n.URL)
	if err != nil {
		return n.Kind.String()
	}
	return u.Scheme + "://" + u.Host
}

// Quiet are hours of the day in which only major and critical events are told.
type Quiet struct {
	From, To time.Duration // since midnight; equal: no such hours
	Zone     *time.Location
}

// At reports whether an instant lies in the quiet hours.
func (q Quiet) At(t time.Time) bool {
	if q.From == q.To {
		return false
	}
	t = t.In(q.Zone)
	at := time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute + time.Duration(t.Second())*time.Second
	if q.From < q.To {
		return at >= q.From && at < q.To
	}
	return at >= q.From || at < q.To
}

// severityWords are those of all kinds of events with their level.
var severityWords = []setting.Word[int]{
	{Name: "risk", Value: 1}, {Name: "minor", Value: 2}, {Name: "major", Value: 3},
	{Name: "notice", Value: 1}, {Name: "warning", Value: 2}, {Name: "critical", Value: 3},
}

// longestWait bounds the waits of a target.
const longestWait = 7 * 24 * time.Hour

// notifyRows are the keys of [[notify]].
var notifyRows = []setting.Row[Notify]{
	{
		Key: "name", Field: setting.ByHand[Notify]("text", "", nameRange), Needed: "always",
		Meaning: "Name of the target, for page, log and metrics.", Example: `"on-call"`,
	},
	{
		Key: "kind", Field: setting.ByHand[Notify]("word", "", orList(wordNames(notifyKinds))), Needed: "always",
		Meaning: "How it is told: an HTTP POST, alerts for an Alertmanager (API v2), mail, or messages to an MQTT broker.", Example: `"webhook"`,
	},
	{
		Key: "url", Field: setting.ByHand[Notify]("text", "", "http, https; smtp (STARTTLS), smtps; for MQTT tcp, ssl, ws, wss"), Needed: "unless url_file is given",
		Meaning: "Where it is. No more than the host is shown to anybody.", Example: `"https://hooks.example/store"`,
	},
	{
		Key: "url_file", Field: setting.ByHand[Notify]("text", "", "a file"),
		Meaning: "File whose first line is the URL, where that is a secret itself; a relative path starts at the configuration.", Example: `"on-call.url"`,
	},
	{
		Key: "username", Field: setting.Plain(func(n *Notify) *string { return &n.Username }, ""),
		Meaning: "User at the target.", Example: `"store-17"`,
	},
	{
		Key: "password_file", Field: setting.ByHand[Notify]("text", "", "a file"),
		Meaning: "File whose first line is the password.", Example: `"mail.password"`,
	},
	{
		Key: "ca_file", Field: setting.ByHand[Notify]("text", "", "a file with certificates in PEM form"),
		Meaning: "Authorities that the target's certificate is checked against, in place of the machine's.", Example: `"ca.pem"`,
	},
	{
		Key: "secret_file", Field: setting.ByHand[Notify]("text", "", "a file"),
		Meaning: "File with the keys, one a line, that sign each message of a webhook as Standard Webhooks has it. A key is whsec_ and base64.", Example: `"on-call.key"`,
	},
	{
		Key: "headers", Field: setting.ByHand[Notify]("list of texts", "none", ""),
		Meaning: "Further headers of a webhook.", Example: `["Priority: high"]`,
	},
	{
		Key: "header_file", Field: setting.ByHand[Notify]("text", "", "a file"),
		Meaning: "File with further headers of a webhook that are secret, one a line.", Example: `"on-call.headers"`,
	},
	{
		Key: "body", Field: setting.ByHand[Notify]("text", "the message as JSON", "a template of Go's text/template"),
		Meaning: "Body of a webhook for receivers of plain text; {{.Title}}, {{.Text}}, {{.Link}}, {{.Site}}, {{.Severity}}, {{.Type}} and {{.ID}} are filled in, {{json .Text}} as JSON.", Example: `"{{.Title}}\n{{.Text}}"`,
	},
	{
		Key: "content_type", Field: setting.Plain(func(n *Notify) *string { return &n.ContentType }, ""),
		Meaning: "Type of a body of your own; text/plain otherwise.", Example: `"application/json"`,
	},
	{
		Key: "from", Field: setting.Plain(func(n *Notify) *string { return &n.From }, ""), Needed: "with mail",
		Meaning: "Sender of a mail.", Example: `"dewgap@store-17.example"`,
	},
	{
		Key: "to", Field: setting.Plain(func(n *Notify) *[]string { return &n.To }, nil), Needed: "with mail",
		Meaning: "Receivers of a mail.", Example: `["on-call@service.example"]`,
	},
	{
		Key: "prefix", Field: setting.ByHand[Notify]("text", "dewgap/ and the site's name", "an MQTT topic without wildcards"),
		Meaning: "What the topics of MQTT messages begin with: PREFIX/status, PREFIX/event/ID for each change, PREFIX/open/ID, retained, while an event is open.", Example: `"dewgap/store-17"`,
	},
	{
		Key: "client_id", Field: setting.ByHand[Notify]("text", "made of the names of site and target", ""),
		Meaning: "The client's name at the MQTT broker; never that of a source.", Example: `"dewgap-store-17-messages"`,
	},
	{
		Key: "discovery_prefix", Field: setting.Plain(func(n *Notify) *string { return &n.Discovery }, ""),
		Meaning: "Topic under which the site is announced to home-automation hubs as a device; nothing is announced without it.", Example: `"homeassistant"`,
	},
	{
		Key: "severity", Field: setting.OneOf(func(n *Notify) *int { return &n.Least }, 2, "minor", severityWords),
		Meaning: "Severity from which it is told. risk, minor and major of floodbacks and starts stand as high as notice, warning and critical of all other kinds.", Example: `"minor"`,
	},
	{
		Key: "kinds", Field: setting.Plain(func(n *Notify) *[]string { return &n.Kinds }, nil),
		Meaning: "Kinds of events that it is told of; all where none is named.", Example: `["floodback", "flooded_start"]`,
	},
	{
		Key: "groups", Field: setting.Plain(func(n *Notify) *[]string { return &n.Groups }, nil),
		Meaning: "Suction groups whose events it is told of; all where none is named.", Example: `["mt"]`,
	},
	{
		Key: "delay", Field: setting.Within(func(n *Notify) *time.Duration { return &n.Delay }, 0, 0, longestWait),
		Meaning: "How long an event must be open before it is told; one that closes sooner never is.", Example: `"2 min"`,
	},
	{
		Key: "unacknowledged_for", Field: setting.Within(func(n *Notify) *time.Duration { return &n.Unheeded }, 0, 0, longestWait),
		Meaning: "Makes it a second target: it is told of an event only when that is still open and nobody has acknowledged it for this long.", Example: `"15 min"`,
	},
	{
		Key: "repeat", Field: setting.Within(func(n *Notify) *time.Duration { return &n.Repeat }, 4*time.Hour, 0, longestWait),
		Meaning: "How often an open event that nobody has acknowledged is told again; 0: never.", Example: `"4 h"`, Source: practice,
	},
	{
		Key: "heartbeat", Field: setting.Within(func(n *Notify) *time.Duration { return &n.Beat }, 24*time.Hour, 0, longestWait),
		Meaning: "How often it is told that all is watched, so that silence is noticed; 0: never.", Example: `"24 h"`, Source: practice,
	},
	{
		Key: "quiet", Field: setting.ByHand[Notify]("text", "", "two times of day"),
		Meaning: "Hours in which only major and critical events are told; the others follow at their end.", Example: `"22:00 to 06:00"`,
	},
	{
		Key: "zone", Field: setting.ByHand[Notify]("text", "the machine's", "a name of the IANA time zone database"),
		Meaning: "Time zone of the quiet hours and of times in messages.", Example: `"Europe/Vienna"`,
	},
}

// forKinds are the keys that only some kinds of targets have.
var forKinds = map[string][]NotifyKind{
	"secret_file": {Webhook}, "headers": {Webhook}, "header_file": {Webhook}, "body": {Webhook}, "content_type": {Webhook},
	"from": {Mail}, "to": {Mail}, "prefix": {MQTT}, "client_id": {MQTT}, "discovery_prefix": {MQTT},
	"quiet": {Webhook, Mail, MQTT}, "delay": {Webhook, Mail, MQTT}, "unacknowledged_for": {Webhook, Mail, MQTT}, "repeat": {Webhook, Mail, MQTT},
}

// notify reads the [[notify]] tables, after the groups.
func (b *builder) notify(root *table) {
	taken := make(names)
	for _, t := range root.inners("notify", "[[notify]]") {
		n := setting.Defaults(notifyRows)
		n.Name = taken.take(t, "target", "on-call")
		read(t, notifyRows, &n)
		kind, ok := word(t, "kind", notifyKinds)
		if !ok {
			if !t.has("kind") {
				t.fault("kind", "is missing", `add kind = "webhook", or `+orList(wordNames(notifyKinds[1:])))
			}
			continue // what the other keys mean depends on it
		}
		n.Kind = kind
		for key, kinds := range forKinds {
			if t.has(key) && !slices.Contains(kinds, kind) {
				t.value(key)
				t.fault(key, "is not for "+kind.String(), "leave it out")
			}
		}
		b.notifyURL(t, &n)
		b.notifyWho(t, &n)
		b.notifyWhat(t, &n)
		switch kind {
		case Webhook:
			b.webhook(t, &n)
		case Mail:
			b.mail(t, &n)
		case MQTT:
			b.uplink(t, &n)
		}
		t.done()
		b.config.Notify = append(b.config.Notify, n)
	}
}

// notifySchemes are those of each kind, the first one usual.
var notifySchemes = map[NotifyKind][]string{
	Webhook: {"https", "http"}, Alertmanager: {"http", "https"}, Mail: {"smtps", "smtp"}, MQTT: {"ssl", "tcp", "mqtt", "mqtts", "tls", "ws", "wss"},
}

var notifyURLs = map[NotifyKind]string{
	Webhook: "https://HOST/PATH", Alertmanager: "http://HOST:9093", Mail: "smtps://HOST:465 or smtp://HOST:587", MQTT: "ssl://HOST:8883 or tcp://HOST:1883",
}

// notifyURL reads where the target is. What the text holds is never shown: a
// token may be in it.
func (b *builder) notifyURL(t *table, n *Notify) {
	key := "url"
	text, ok := t.text("url", "https://hooks.example/store")
	if t.has("url_file") {
		if t.has("url") {
			t.fault("url_file", "is given beside url", "keep one of the two")
		}
		key = "url_file"
		text, ok = b.secretLine(t, "url_file", "on-call.url")
		if text == "" {
			return // told by secretLine: replay needs no targets
		}
	}
	if !ok {
		if !t.has("url") {
			t.fault("url", "is missing", fmt.Sprintf("add url = %q", notifyURLs[n.Kind]))
		}
		return
	}
	u, err := url.Parse(text)
	want := "write " + notifyURLs[n.Kind]
	switch {
	case err != nil || !slices.Contains(notifySchemes[n.Kind], u.Scheme):
		t.fault(key, "is no address for "+n.Kind.String(), want)
		return
	case u.Hostname() == "":
		t.fault(key, "has no host", want)
		return
	case u.User != nil:
		t.fault(key, "holds a user name or password", `write username = "…" and password_file = "…"`)
		return
	}
	clear := u.Scheme == "http" || u.Scheme == "tcp" || u.Scheme == "mqtt" || u.Scheme == "ws"
	if u.Port() == "" {
		ports := map[string]string{"smtps": "465", "smtp": "587"}
		if s, of := schemes[u.Scheme]; of {
			ports[u.Scheme] = s.port
		}
		if port := ports[u.Scheme]; port != "" {
			u.Host = net.JoinHostPort(u.Hostname(), port)
		}
	} else if problem := wrongHostPort(u.Host, false); problem != "" {
		t.fault(key, problem, want)
		return
	}
	if clear && (t.has("password_file") || t.has("header_file")) && !Loopback(u.Host) && u.Hostname() != "localhost" {
		t.warn(key, "sends a password or a secret header in the clear", want)
	}
	n.URL = u.String()
}

// secretLine reads the first line of a file that only the daemon needs.
func (b *builder) secretLine(t *table, key, example string) (string, bool) {
	lines := b.secretLines(t, key, example)
	if len(lines) == 0 {
		return "", t.has(key)
	}
	return lines[0], true
}

// maxSecretText bounds a file with secrets.
const maxSecretText = 64 << 10

// secretLines reads the lines of a file that only the daemon needs, without empty ones.
func (b *builder) secretLines(t *table, key, example string) []string {
	path := b.readable(t, key, example)
	if path == "" {
		return nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil // told by readable
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxSecretText))
	if err != nil {
		t.notReady(key, fmt.Sprintf("%s cannot be read: %v", path, underlying(err)), "check who may read it")
		return nil
	}
	var lines []string
	for line := range strings.Lines(string(data)) {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	if len(lines) == 0 {
		t.notReady(key, fmt.Sprintf("%s is empty", path), "write the secret into its first line")
	}
	if info, err := f.Stat(); err == nil && info.Mode().Perm()&0o004 != 0 {
		t.warn(key, fmt.Sprintf("%s can be read by everybody on this machine", path), "chmod 640 it, owned by the daemon's group")
	}
	return lines
}

// notifyWho reads user, password and authorities.
func (b *builder) notifyWho(t *table, n *Notify) {
	if line, ok := b.secretLine(t, "password_file", "mail.password"); ok {
		n.Password = mqtt.Secret(line)
		if !t.has("username") {
			t.warn("username", "is missing beside a password", `add username = "…"`)
		}
	}
	n.CAFile = b.readable(t, "ca_file", "ca.pem")
}

// notifyWhat checks which events it is told of, and when.
func (b *builder) notifyWhat(t *table, n *Notify) {
	var groups []string
	for i := range b.config.Site.Groups {
		groups = append(groups, b.config.Site.Groups[i].Name)
	}
	kinds := floodback.KindNames()
	for _, list := range []struct {
		key, what       string
		given, possible []string
	}{{"groups", "group", n.Groups, groups}, {"kinds", "kind of event", n.Kinds, kinds}} {
		for _, name := range list.given {
			if !slices.Contains(list.possible, name) {
				t.fault(list.key, fmt.Sprintf("%q is no %s", name, list.what), oneOf(list.possible)+didYouMean(name, list.possible))
			}
		}
	}
	n.Quiet.Zone = time.Local
	if name, ok := t.text("zone", "Europe/Vienna"); ok {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.fault("zone", fmt.Sprintf("%q is no time zone that this machine knows", name), `write one such as "Europe/Vienna" or "UTC"; the machine's package of time zones may be missing`)
		} else {
			n.Quiet.Zone = zone
		}
	}
	if text, ok := t.text("quiet", "22:00 to 06:00"); ok {
		from, to, both := strings.Cut(text, " to ")
		first, err := time.Parse("15:04", strings.TrimSpace(from))
		last, err2 := time.Parse("15:04", strings.TrimSpace(to))
		if !both || err != nil || err2 != nil || first.Equal(last) {
			t.fault("quiet", fmt.Sprintf("%q is no pair of times of day", text), `write "22:00 to 06:00"`)
		} else {
			midnight := first.Truncate(24 * time.Hour)
			n.Quiet.From, n.Quiet.To = first.Sub(midnight), last.Sub(midnight)
		}
	}
}

// Bytes of a key that signs messages, as the specification of Standard Webhooks
// asks for.
const leastKey, mostKey = 24, 64

// webhook reads what only an HTTP POST has.
func (b *builder) webhook(t *table, n *Notify) {
	for _, line := range b.secretLines(t, "secret_file", "on-call.key") {
		text, marked := strings.CutPrefix(line, "whsec_")
		key, err := base64.StdEncoding.DecodeString(text)
		if err != nil || !marked || len(key) < leastKey || len(key) > mostKey {
			t.notReady("secret_file", "holds a line that is no key", fmt.Sprintf("write whsec_ and %d to %d bytes in base64, as in: echo whsec_$(openssl rand -base64 32)", leastKey, mostKey))
			continue
		}
		n.Secret = append(n.Secret, mqtt.Secret(key))
	}
	n.Headers = http.Header{}
	list, _ := t.texts("headers", `["Priority: high"]`)
	for _, line := range list {
		b.header(t, "headers", line, n.Headers)
	}
	for _, line := range b.secretLines(t, "header_file", "on-call.headers") {
		b.header(t, "header_file", line, n.Headers)
	}
	if text, ok := t.text("body", "{{.Title}}"); ok {
		body, err := MessageTemplate(text)
		if err != nil {
			t.fault("body", err.Error(), `write a template such as "{{.Title}}\n{{.Text}}"`)
		}
		n.Body = body
		if n.ContentType == "" {
			n.ContentType = "text/plain; charset=utf-8"
		}
	} else if t.has("content_type") {
		t.fault("content_type", "is given without a body", "leave it out: JSON says so itself")
	}
}

// headersOfOurs are set by the sender itself.
var headersOfOurs = []string{"Host", "Content-Length", "Transfer-Encoding", "Connection", "Webhook-Id", "Webhook-Timestamp", "Webhook-Signature"}

// header adds a line "Name: value". The line may be secret, so it is not shown.
func (b *builder) header(t *table, key, line string, to http.Header) {
	name, value, ok := strings.Cut(line, ":")
	name, value = http.CanonicalHeaderKey(strings.TrimSpace(name)), strings.TrimSpace(value)
	plain := name != "" && strings.Trim(strings.ToLower(name), "abcdefghijklmnopqrstuvwxyz0123456789-_") == "" && !strings.ContainsFunc(value, func(r rune) bool { return r < ' ' || r == 0x7f })
	switch {
	case !ok || !plain:
		t.fault(key, "holds a line that is no header", `write "Name: value"`)
	case slices.Contains(headersOfOurs, name):
		t.fault(key, "sets "+name+", which belongs to the message itself", "leave it out")
	default:
		to.Add(name, value)
	}
}

// mail reads what only a mail has.
func (b *builder) mail(t *table, n *Notify) {
	if n.From == "" && !t.has("from") {
		t.fault("from", "is missing", `add from = "dewgap@store.example"`)
	}
	if len(n.To) == 0 && !t.has("to") {
		t.fault("to", "is missing", `add to = ["on-call@service.example"]`)
	}
	check := func(key, address string) {
		if _, err := mail.ParseAddress(address); err != nil {
			t.fault(key, fmt.Sprintf("%q is no mail address", address), `write "name@host.example"`)
		}
	}
	if n.From != "" {
		check("from", n.From)
	}
	for _, address := range n.To {
		check("to", address)
	}
}

// uplink reads what only an MQTT target has.
func (b *builder) uplink(t *table, n *Notify) {
	n.Prefix = "dewgap/" + strings.TrimPrefix(clientID(b.config.Site.Name, ""), "dewgap-")
	n.Prefix = strings.TrimRight(n.Prefix, "-")
	if prefix, ok := t.text("prefix", "dewgap/store-17"); ok {
		n.Prefix = prefix
	}
	for key, topic := range map[string]string{"prefix": n.Prefix, "discovery_prefix": n.Discovery} {
		if strings.ContainsAny(topic, "+#\x00") || strings.HasPrefix(topic, "$") || strings.HasSuffix(topic, "/") || len(topic) > 200 {
			t.fault(key, fmt.Sprintf("%q cannot be published below", topic), `write a topic without +, # and a slash at its end, such as "dewgap/store-17"`)
		}
	}
	n.ClientID = clientID(b.config.Site.Name, n.Name+"-messages")
	if id, ok := t.text("client_id", "dewgap-store-17-messages"); ok {
		n.ClientID = id
	}
	for i := range b.config.MQTT {
		if s := &b.config.MQTT[i]; s.ClientID == n.ClientID {
			t.fault("client_id", fmt.Sprintf("%q is that of source %s: a broker would end one session for the other", n.ClientID, s.Name), "give each its own")
		}
		for _, p := range b.config.MQTT[i].Points {
			if p.Topic == n.Prefix || strings.HasPrefix(p.Topic, n.Prefix+"/") {
				t.fault("prefix", fmt.Sprintf("%q is above the topic %s of an input: what is published there must never be read back", n.Prefix, p.Topic), "choose another prefix")
			}
		}
	}
	if u, err := url.Parse(n.URL); err == nil {
		if s, ok := schemes[u.Scheme]; ok {
			u.Scheme = s.scheme
			n.URL = u.String()
		}
	}
}

// quoted writes a value as JSON, for bodies that are JSON themselves.
func quoted(v any) (string, error) {
	text, err := json.Marshal(v)
	return string(text), err
}

// MessageFields is what a body of a webhook's own may show.
type MessageFields struct {
	ID, Type, Site, Title, Text, Link, Severity string
}

// MessageTemplate parses a body and tries it.
func MessageTemplate(text string) (*template.Template, error) {
	t, err := template.New("body").Funcs(template.FuncMap{"json": quoted}).Option("missingkey=error").Parse(text)
	if err != nil {
		return nil, fmt.Errorf("is no template: %w", err)
	}
	if err := t.Execute(io.Discard, MessageFields{}); err != nil {
		return nil, fmt.Errorf("cannot be filled in: %w", err)
	}
	return t, nil
}
