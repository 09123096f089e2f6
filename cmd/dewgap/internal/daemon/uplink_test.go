package daemon

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/collector"
)

// A receiver of metrics that nobody answers for is a fault, and rows, journal and
// recording go on as without it; what it lacks is known after a restart.
func TestReceiverThatIsAwayDelaysNothing(t *testing.T) {
	dir := t.TempDir()
	text := fmt.Sprintf(siteText, dir, 11, fmt.Sprintf(compressorText, "c1")) + "\n[[remote_write]]\nname = \"central\"\nurl = \"http://127.0.0.1:1/api/v1/write\"\n"
	synctest.Test(t, func(t *testing.T) {
		var since time.Time
		for run := range 2 {
			b := newHarness(t, text, collector.NewRealClock())
			b.pass(30 * time.Minute)
			snap, age := b.board.Current()
			if age > 5*time.Second || time.Since(snap.Time) > 6*time.Second || b.late != 0 {
				t.Errorf("run %d: the newest row is of %s, %v ago; %d late", run, snap.Time, age, b.late)
			}
			if len(b.open()) != 1 {
				t.Errorf("run %d: %d floodback events", run, len(b.open()))
			}
			r := snap.Receivers[0]
			if b.metric("dewgap_fault_active remote_write") != "1" || r.Failures < 5 || r.Samples != 0 || !strings.Contains(r.Fault, "http://127.0.0.1:1: ") || strings.Contains(r.Fault, "api/v1") {
				t.Errorf("run %d: %+v", run, r)
			}
			if run == 0 {
				since = r.UpTo
			}
			if !r.UpTo.Equal(since) || time.Since(since) < 29*time.Minute {
				t.Errorf("run %d: it has all up to %s, want %s", run, r.UpTo, since)
			}
			b.stop()
		}
	})
	if _, err := os.Stat(filepath.Join(dir, RemoteWriteDir, "central.cursor")); err != nil {
		t.Error(err)
	}
}
