package config

import (
	"cmp"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"

	"dewgap/analyze/reading"
	"dewgap/analyze/setting"
	"dewgap/collector/mqtt"
	"dewgap/collector/register"
)

// broker reads one [[mqtt]] table, without its points.
func (b *builder) broker(t *table) mqtt.Settings {
	s := setting.Defaults(mqttRows)
	read(t, mqttRows, &s)
	s.Name, _ = t.values["name"].(string)
	var tls bool
	s.URL, tls = b.brokerURL(t)
	s.ClientID = clientID(b.config.Site.Name, s.Name)
	if id, ok := t.text("client_id", "dewgap-demo"); ok {
		s.ClientID = id
	}
	b.password(t, &s)
	s.CAFile = b.readable(t, "ca_file", "ca.pem")
	s.CertFile = b.readable(t, "cert_file", "dewgap.pem")
	s.KeyFile = b.readable(t, "key_file", "dewgap.key")
	if t.has("cert_file") != t.has("key_file") {
		t.fault("cert_file", "and key_file belong together", "give both, or neither")
	}
	for _, key := range []string{"ca_file", "cert_file", "key_file"} {
		if t.has(key) && s.URL != "" && !tls {
			t.fault(key, "is given, and the URL is not encrypted", `write "ssl://…:8883" or "wss://…"`)
		}
	}
	if (s.Username != "" || s.Password != "") && s.URL != "" && !tls && !loopbackURL(s.URL) {
		t.warn("url", "sends the password in the clear", `use "ssl://…:8883" or "wss://…" outside a network you trust`)
	}
	t.done()
	return s
}

// clientID is a client's name at the broker: the same at each start, and
// different from site to site, for two clients of one name throw each other off.
func clientID(site, name string) string {
	id := []rune("dewgap-")
	for _, r := range site + "-" + name {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
			id = append(id, r)
		} else {
			id = append(id, '-')
		}
	}
	return string(id)
}

var schemes = map[string]struct {
	scheme, port string
	tls          bool
}{
	"tcp": {"tcp", "1883", false}, "mqtt": {"tcp", "1883", false},
	"ssl": {"ssl", "8883", true}, "tls": {"ssl", "8883", true}, "mqtts": {"ssl", "8883", true},
	"ws": {"ws", "80", false}, "wss": {"wss", "443", true},
}

const wantURL = `write "tcp://HOST:1883", "ssl://HOST:8883", "ws://HOST:80/PATH" or "wss://HOST:443/PATH"`

// brokerURL reads the broker's address and brings it to one spelling.
func (b *builder) brokerURL(t *table) (string, bool) {
	text, ok := t.need("url", "tcp://192.0.2.20:1883")
	if !ok {
		return "", false
	}
	u, err := url.Parse(text)
	if err != nil {
		t.fault("url", "is no URL", wantURL) // the error would show the text, and a password in it
		return "", false
	}
	s, known := schemes[u.Scheme]
	switch {
	case !known:
		t.fault("url", fmt.Sprintf("%q is no scheme for MQTT", cmp.Or(u.Scheme, "(none)")), wantURL)
	case u.User != nil:
		t.fault("url", "holds a user name or password, which would be shown wherever the URL is", `write username = "…" and password_file = "…"`)
	case u.Hostname() == "":
		t.fault("url", "has no host", wantURL)
	case u.Port() != "" && wrongHostPort(u.Host, false) != "":
		t.fault("url", wrongHostPort(u.Host, false), wantURL)
	default:
		u.Scheme = s.scheme
		if u.Port() == "" {
			u.Host = net.JoinHostPort(u.Hostname(), s.port)
		}
		return u.String(), s.tls
	}
	return "", false
}

func loopbackURL(text string) bool {
	u, err := url.Parse(text)
	return err == nil && Loopback(u.Host)
}

// password reads the one place that the password comes from.
func (b *builder) password(t *table, s *mqtt.Settings) {
	var from []string
	for _, key := range []string{"password_file", "password_env", "password"} {
		if t.has(key) {
			from = append(from, key)
		}
	}
	if len(from) > 1 {
		t.fault(from[1], "is given beside "+from[0], "keep one of the two")
	}
	if v, given := t.value("password"); given {
		password, ok := v.(string)
		if !ok { // describing it would show it
			t.fault("password", "is no text", "write it in quotes")
		}
		s.Password = mqtt.Secret(password)
		t.warn("password", "stands in the file, where everybody can read it who can read the configuration", "write password_file or password_env")
	}
	if name, ok := t.text("password_env", "DEWGAP_MQTT_PASSWORD"); ok {
		password, set := os.LookupEnv(name)
		if s.Password = mqtt.Secret(password); !set {
			t.notReady("password_env", fmt.Sprintf("the variable %s is not set", name), "set it in the daemon's environment, or use password_file")
		}
	}
	if path := b.readable(t, "password_file", "mqtt.password"); path != "" {
		if data, err := os.ReadFile(path); err == nil {
			s.Password = mqtt.Secret(strings.TrimRight(string(data), "\r\n"))
			if s.Password == "" {
				t.notReady("password_file", fmt.Sprintf("%s is empty", path), "write the password into its first line")
			}
		}
		if info, err := os.Stat(path); err == nil && info.Mode().Perm()&0o004 != 0 {
			t.warn("password_file", fmt.Sprintf("%s can be read by everybody on this machine", path), "chmod 640 it, owned by the daemon's group")
		}
	}
	if len(from) > 0 && !t.has("username") {
		t.warn("username", "is missing beside a password", `add username = "…"; brokers ask for both`)
	}
}

// readable reads the path of a file that must be readable when the daemon runs.
func (b *builder) readable(t *table, key, example string) string {
	path, ok := t.text(key, example)
	if !ok {
		return ""
	}
	path = b.beside(path)
	f, err := os.Open(path)
	if err != nil {
		t.notReady(key, fmt.Sprintf("%s cannot be read: %v", path, underlying(err)), "check the path, which is relative to the configuration, and who may read it")
		return path
	}
	f.Close()
	return path
}

// mqttPoint reads where in the broker's messages an input stands.
func (b *builder) mqttPoint(t *table, name string, index int, p reading.Point, m register.Mapping) {
	point := mqtt.Point{Index: index, Path: p.Path, Mapping: m}
	before := len(b.faults)
	src := b.find(t, "mqtt", name, false)
	if topic, ok := t.need("topic", "store/mt/suction"); ok {
		point.Topic = topic
		switch {
		case strings.ContainsAny(topic, "+#"):
			t.fault("topic", fmt.Sprintf("%q has a wildcard", topic), "an input is one topic; write it in full")
		case strings.ContainsRune(topic, 0) || len(topic) > 65535:
			t.fault("topic", "is no MQTT topic", "topics are at most 65535 bytes and hold no zero byte")
		case strings.HasPrefix(topic, "/"):
			t.warn("topic", fmt.Sprintf("%q begins with a slash, which makes an empty first level", topic), "leave it out unless the publisher writes it too")
		}
	}
	point.Pointer = b.pointer(t, "value")
	point.TimePointer = b.pointer(t, "time")
	read(t, brokerInputRows, &point)
	if t.has("time_format") && !t.has("time") {
		t.fault("time_format", "is given without a time", `add time = "/t", the JSON Pointer to the time stamp`)
	}
	if t.has("time") && !t.has("value") {
		t.fault("time", "is given for a payload that is a plain number", `add value = "/value", the JSON Pointer to the number`)
	}
	if src == nil || len(b.faults) > before {
		return
	}
	s := &b.config.MQTT[src.broker]
	mine := meaning{p.Path, p.Role.Kind(), m}
	for _, o := range s.Points {
		theirs := meaning{o.Path, b.config.Site.Points[o.Index].Role.Kind(), o.Mapping}
		if o.Topic == point.Topic && o.Pointer == point.Pointer && mine.contradicts(theirs) {
			t.warn("", fmt.Sprintf("reads the same number as %s and takes it for something else", o.Path), "check both topics and pointers")
		}
	}
	s.Points = append(s.Points, point)
}

// pointer reads a JSON Pointer (RFC 6901).
func (b *builder) pointer(t *table, key string) string {
	p, ok := t.text(key, "/suction/bar")
	if !ok {
		return ""
	}
	escapes := strings.NewReplacer("~0", "", "~1", "")
	if !strings.HasPrefix(p, "/") || strings.Contains(escapes.Replace(p), "~") {
		t.fault(key, fmt.Sprintf("%q is no JSON Pointer", p), `write the way to the value with a slash before each step, such as "/suction/bar"; ~ is written ~0`)
		return ""
	}
	return p
}
