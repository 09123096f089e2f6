package config

import (
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"time"
)

// Daemon says how the program itself runs.
type Daemon struct {
	Listen      string        // host:port of the page and the metrics
	Data        string        // directory of journal and recordings
	Sample      time.Duration // from row to row
	Record      bool          // write a recording of all that is read
	RecordLimit int64         // most bytes of recordings kept; the oldest go first
	Log         slog.Level
}

const (
	defaultListen      = "127.0.0.1:9480"
	defaultData        = "/var/lib/dewgap"
	defaultRecordLimit = 2e9
)

var logLevels = []named[slog.Level]{
	{"debug", slog.LevelDebug}, {"info", slog.LevelInfo}, {"warn", slog.LevelWarn}, {"error", slog.LevelError},
}

func (b *builder) daemon(root *table) {
	d := &b.config.Daemon
	*d = Daemon{Listen: defaultListen, Data: defaultData, Sample: time.Second, Record: true, RecordLimit: defaultRecordLimit}
	t, ok := root.inner("daemon", `{ listen = "127.0.0.1:9480" }`)
	if !ok {
		return
	}
	if listen, ok := t.text("listen", defaultListen); ok {
		if problem := wrongHostPort(listen, true); problem != "" {
			t.fault("listen", problem, `write host and port, such as "127.0.0.1:9480", or ":9480" for all networks`)
		} else if d.Listen = listen; !loopback(listen) {
			t.warn("listen", fmt.Sprintf("%q lets everybody on that network read the page", listen), "keep it to a network you trust, or listen on 127.0.0.1 behind a proxy that asks for a password")
		}
	}
	if data, ok := t.text("data", defaultData); ok {
		d.Data = b.beside(data)
	}
	d.Sample = t.durationOr("sample", d.Sample, 100*time.Millisecond, time.Minute)
	d.Record = t.flag("record", d.Record)
	if limit, ok := within(t, "record_limit", parseSize, 1e6, 1e14, showSize); ok {
		d.RecordLimit = limit
	}
	if level, ok := word(t, "log", logLevels); ok {
		d.Log = level
	}
	t.done()
}

// wrongHostPort says what is wrong with host:port; nothing when it is right.
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
