package config

import (
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"time"

	"dewgap/analyze/setting"
)

// Daemon is how the program itself runs.
type Daemon struct {
	Listen      string        // host:port of the page and the metrics
	Data        string        // directory of journal and recordings
	Sample      time.Duration // from row to row
	Record      bool          // write a recording of all that is read
	RecordLimit int64         // most bytes of recordings kept; the oldest go first
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
		} else if !loopback(d.Listen) {
			t.warn("listen", fmt.Sprintf("%q lets everybody on that network read the page", d.Listen), "keep it to a network you trust, or listen on 127.0.0.1 behind a proxy that asks for a password")
		}
	}
	d.Data = b.beside(d.Data)
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

func loopback(hostPort string) bool {
	host, _, _ := net.SplitHostPort(hostPort)
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
