package daemon

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dewgap/alert"
	"dewgap/collector"
	"dewgap/config"
)

func TestOpenClosesWhatItOpenedWhenALaterStepFails(t *testing.T) {
	errSources := errors.New("no such certificate")
	for name, c := range map[string]struct {
		data    func(dir string) string
		sources error
		want    string
	}{
		"sources": {func(dir string) string { return dir }, errSources, "no such certificate"},
		"data directory below a file": {func(dir string) string {
			file := filepath.Join(dir, "file")
			if err := os.WriteFile(file, nil, 0o600); err != nil {
				t.Fatal(err)
			}
			return filepath.Join(file, "data")
		}, nil, "make the data directory"},
		"data directory in use": {func(dir string) string {
			journal, err := alert.OpenJournal(dir, journalLimit)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { journal.Close() })
			return dir
		}, nil, "is in use"},
	} {
		t.Run(name, func(t *testing.T) {
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			d, err := openIn(t, c.data(t.TempDir()), l, c.sources)
			if d != nil || err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want one with %q", err, c.want)
			}
			if err := l.Close(); !errors.Is(err, net.ErrClosed) {
				t.Error("the page's listener was left open")
			}
		})
	}
}

// TestCloseWithoutRun also shows that the journal can be opened again.
func TestCloseWithoutRun(t *testing.T) {
	dir := t.TempDir()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	d, err := openIn(t, dir, l, nil)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	}
	if err := l.Close(); !errors.Is(err, net.ErrClosed) {
		t.Error("the page's listener was left open")
	}
	journal, err := alert.OpenJournal(dir, journalLimit)
	if err != nil {
		t.Fatal(err)
	}
	if err := journal.Close(); err != nil {
		t.Error(err)
	}
}

func openIn(t *testing.T, data string, l net.Listener, sources error) (*Daemon, error) {
	t.Helper()
	cfg, err := config.Parse("site.toml", fmt.Appendf(nil, siteText, data, 8, fmt.Sprintf(compressorText, "c1")))
	if err != nil {
		t.Fatal(err)
	}
	return Open(Setting{
		Config: cfg, Clock: collector.NewRealClock(), Listen: l, Log: slog.New(slog.DiscardHandler),
		Sources: func(*config.Config) ([]collector.Source, error) { return nil, sources },
	})
}
