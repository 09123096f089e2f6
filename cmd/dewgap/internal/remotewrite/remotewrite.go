// Package remotewrite sends metrics by Prometheus remote write 1.0 to receivers
// that cannot scrape the site. It reads the recordings on the disk and runs them
// through the same analysis as the daemon, so that an outage of the network,
// however long, is filled afterwards in order. Its cursor is on the disk, too.
//
// It may import pipeline, metrics and recording. It must never import the daemon
// or a source, and it delays neither: it shares nothing with them but the files.
package remotewrite

import (
	"context"
	"log/slog"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/analyze"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/config"
)

// Board is where the newest snapshot comes from.
type Board interface {
	Current() (*snapshot.Snapshot, time.Duration)
}

// Setting is what a Writer runs with.
type Setting struct {
	Site       analyze.Site
	Receivers  []config.RemoteWrite
	Recordings string           // directory of the recordings
	Dir        string           // of the cursors
	Now        func() time.Time // of the rows' clock
	Board      Board            // for what no recording holds: gateway, sources, targets
	Build      metrics.Build
	Log        *slog.Logger
}

// Writer sends to all receivers of a configuration.
type Writer struct{ receivers []*receiver }

// New prepares the receivers; it connects to nothing. One that cannot be prepared
// is a fault in its Status.
func New(s Setting) *Writer {
	w := &Writer{}
	for i := range s.Receivers {
		w.receivers = append(w.receivers, newReceiver(&s, &s.Receivers[i]))
	}
	return w
}

// Run sends until ctx ends. It never fails: what a receiver does is in its Status.
func (w *Writer) Run(ctx context.Context) error {
	var group errgroup.Group
	for _, r := range w.receivers {
		group.Go(func() error { r.run(ctx); return nil })
	}
	return group.Wait()
}

// Status returns the receivers, in the order of the configuration.
func (w *Writer) Status() []snapshot.Receiver {
	all := make([]snapshot.Receiver, 0, len(w.receivers))
	for _, r := range w.receivers {
		all = append(all, r.status())
	}
	return all
}
