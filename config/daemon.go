package config

import (
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"

	"dewgap/analyze/setting"
)

// Daemon is how the program itself runs.
type Daemon struct {
	Listen      string        // host:port of the page and the metrics
	WebConfig   string        // web configuration file of the Prometheus exporters; empty: none
	Operators   []string      // its users who may acknowledge and set maintenance
	Unprotected bool          // may listen beyond this machine without authentication
	Page        string        // address of the page as people reach it; empty: not stated
	Data        string        // directory of journal and recordings
	Sample      time.Duration // from row to row
	Record      bool          // write a recording of all that is read
	RecordLimit int64         // most bytes of recordings kept; the oldest go first
	RecordEvery time.Duration // between two writes of the recording
	Log         slog.Level
}

var logLevels = []setting.Word[slog.Level]{
	{Name: "debug", Value: slog.LevelDebug}, {Name: "info", Value: slog.LevelInfo},
	{Name: "warn", Value: slog.LevelWarn}, {Name: "error", Value: slog.LevelError},
}

// daemonRows are the keys of [daemon].
var daemonRows = []setting.Row[Daemon]{
	{
		Key: "listen", Field: setting.Plain(func(d *Daemon) *string { return &d.Listen }, "127.0.0.1:9480"),
		Meaning: "Host and port of the page and the metrics.", Example: `"127.0.0.1:9480"`,
	},
	{
		Key: "web_config", Field: setting.Plain(func(d *Daemon) *string { return &d.WebConfig }, ""),
		Meaning: "File with certificates and users, in the form of the web configuration of the Prometheus exporters; a relative path starts at the configuration.", Example: `"web.yml"`,
	},
	{
		Key: "operators", Field: setting.Plain(func(d *Daemon) *[]string { return &d.Operators }, nil),
		Meaning: "Users of web_config who may acknowledge events and set maintenance; all others only read.", Example: `["anna"]`,
	},
	{
		Key: "unprotected", Field: setting.Plain(func(d *Daemon) *bool { return &d.Unprotected }, false),
		Meaning: "Whether the page may listen beyond this machine without authentication: everybody on that network can read it.", Example: "false",
	},
	{
		Key: "page", Field: setting.Plain(func(d *Daemon) *string { return &d.Page }, ""),
		Meaning: "Address of the page as people reach it, for the links in messages.", Example: `"https://store-17.example:9480"`,
	},
	{
		Key: "data", Field: setting.Plain(func(d *Daemon) *string { return &d.Data }, "/var/lib/dewgap"),
		Meaning: "Directory of the journal and the recordings; a relative path starts at the configuration.", Example: `"/var/lib/dewgap"`,
	},
	{
		Key: "sample", Field: setting.Within(func(d *Daemon) *time.Duration { return &d.Sample }, time.Second, 100*time.Millisecond, time.Minute),
		Meaning: "Time from one row of readings to the next.", Example: `"1 s"`, Source: practice,
	},
	{
		Key: "record", Field: setting.Plain(func(d *Daemon) *bool { return &d.Record }, true),
		Meaning: "Whether everything that is read is written to recordings.", Example: "true",
	},
	{
		Key: "record_limit", Field: setting.Within(func(d *Daemon) *int64 { return &d.RecordLimit }, 2e9, 1e6, 1e14),
		Meaning: "Most bytes of recordings that are kept; the oldest are deleted first.", Example: `"2 GB"`, Source: practice,
	},
	{
		Key: "record_every", Field: setting.Within(func(d *Daemon) *time.Duration { return &d.RecordEvery }, time.Minute, time.Second, 10*time.Minute),
		Meaning: "Time between two writes of the recording; a power cut loses as much of it. Events and exposure are written at once. Longer spares flash.", Example: `"60 s"`, Source: practice,
	},
	{
		Key: "log", Field: setting.OneOf(func(d *Daemon) *slog.Level { return &d.Log }, slog.LevelInfo, "", logLevels),
		Meaning: "Least severity that is written to the log.", Example: `"info"`,
	},
}

func (b *builder) daemon(root *table) {
	d := &b.config.Daemon
	*d = setting.Defaults(daemonRows)
	listen := d.Listen
	t, ok := root.inner("daemon", `{ listen = "127.0.0.1:9480" }`)
	if !ok {
		return
	}
	read(t, daemonRows, d)
	if t.has("listen") && d.Listen != listen {
		if problem := wrongHostPort(d.Listen, true); problem != "" {
			t.fault("listen", problem, `write host and port, such as "127.0.0.1:9480", or ":9480" for all networks`)
		} else if !Loopback(d.Listen) && d.WebConfig == "" {
			problem := fmt.Sprintf("%q lets everybody on that network read the page without a password", d.Listen)
			if d.Unprotected {
				t.warn("listen", problem, "keep it to a network you trust")
			} else {
				t.fault("listen", problem, "name a file with users in web_config, or listen on 127.0.0.1, or accept it by unprotected = true")
			}
		}
	}
	if u, err := url.Parse(d.Page); d.Page != "" && (err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https") {
		t.fault("page", fmt.Sprintf("%q is no address of a page", d.Page), `write "https://HOST:PORT"`)
	}
	d.Page = strings.TrimRight(d.Page, "/")
	d.Data = b.beside(d.Data)
	if d.WebConfig != "" {
		d.WebConfig = b.beside(d.WebConfig)
	}
	t.done()
}

// wrongHostPort returns what is wrong with host:port; nothing when it is right.
// To listen, the host may be empty and the port 0.
func wrongHostPort(text string, listen bool) string {
	host, port, err := net.SplitHostPort(text)
	if err != nil {
		return fmt.Sprintf("%q is not host:port", text)
	}
	n, err := strconv.Atoi(port)
	switch {
	case err != nil || n < 0 || n > 65535:
		return fmt.Sprintf("port %q is not between 1 and 65535", port)
	case n == 0 && !listen:
		return "port 0 cannot be connected to"
	case host == "" && !listen:
		return fmt.Sprintf("%q has no host", text)
	}
	return ""
}

// Loopback reports whether hostPort is of this machine alone.
func Loopback(hostPort string) bool {
	host, _, _ := net.SplitHostPort(hostPort)
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
