package remotewrite

import (
	"context"
	"fmt"
	"maps"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/cmd/dewgap/internal/snapshot"
)

const (
	// warmUp is how long before the cursor the analysis begins after a start: each
	// circuit of a site has been through its defrosts by then. Common practice, no
	// source.
	warmUp = 24 * time.Hour
	// restEvery is the number of rows after which the analysis rests, and restShare
	// for how many times as long as it worked. With what reading them costs, catching
	// up takes less than half of a processor. Common practice, no source.
	restEvery, restShare = 256, 2
)

// producer runs the recordings through the analysis and makes instants of them.
type producer struct {
	follower
	every time.Duration
	from  int64              // ms; what is not after it was sent before
	base  map[string]float64 // counters at from, as they were sent
	out   chan<- instant

	series   catalogue
	line     *pipeline.Pipeline
	last     time.Time          // of the newest row
	offset   map[string]float64 // what is added to each counter of line; nil: not known yet
	slot     int64              // number of the span that the newest instant stands for
	rows     int
	worked   time.Duration // by the analysis since the last rest
	previous map[string]*series
}

// run makes instants until ctx ends.
func (p *producer) run(ctx context.Context) error {
	p.series = catalogue{}
	from := time.UnixMilli(p.from)
	p.slot = from.UnixNano() / int64(p.every)
	return p.follower.run(ctx, from.Add(-warmUp), func(row *reading.Row) error { return p.take(ctx, row) })
}

// take steps the analysis through one row and sends what is due of it.
func (p *producer) take(ctx context.Context, row *reading.Row) error {
	if p.rows++; p.rows%restEvery == 0 {
		if err := sleep(ctx, restShare*p.worked); err != nil {
			return err
		}
		p.worked = 0
	}
	begun := time.Now()
	if p.line == nil || row.Time.Before(p.last) { // the clock was set back
		line, err := pipeline.New(p.site)
		if err != nil {
			return fmt.Errorf("%w: %w", errStop, err)
		}
		p.line, p.offset = line, nil
	}
	at := row.Time.UnixMilli()
	if at > p.from && p.offset == nil {
		p.rebase()
	}
	p.last = row.Time
	result, _ := p.line.Step(row)
	slot := row.Time.UnixNano() / int64(p.every)
	if at == p.from {
		p.previous = p.present(result) // was sent before: what ends after it gets its end
	}
	if at <= p.from || slot == p.slot {
		p.worked += time.Since(begun)
		return nil
	}
	p.slot, p.from = slot, at
	made := p.instant(at, result)
	p.worked += time.Since(begun)
	select {
	case <-ctx.Done():
		return ctx.Err()
	case p.out <- made:
		return nil
	}
}

// rebase makes the counters go on from where they were sent: those of the analysis
// begin at 0, some time before.
func (p *producer) rebase() {
	p.offset = maps.Clone(p.base)
	s := &snapshot.Snapshot{Site: p.site.Name, Totals: p.line.Tracker.Totals()}
	metrics.Of(s, metrics.Counts, func(m metrics.Sample) {
		if m.Metric.Counter {
			p.offset[keyOf(m)] -= m.Value
		}
	})
}

// present returns the series that are known at a row.
func (p *producer) present(result analyze.Result) map[string]*series {
	now := map[string]*series{}
	metrics.Of(snapshot.Of(p.site, p.line, result), metrics.OfRows, func(m metrics.Sample) {
		s := p.series.of(m)
		now[s.key] = s
	})
	return now
}

// instant returns what is known at a row, and the end of what was known before.
func (p *producer) instant(at int64, result analyze.Result) instant {
	i := instant{at: at}
	now := make(map[string]*series, len(p.previous))
	metrics.Of(snapshot.Of(p.site, p.line, result), metrics.OfRows, func(m metrics.Sample) {
		s := p.series.of(m)
		v := m.Value
		if s.counter {
			// A sum that is rounded otherwise must not look like a reset.
			v = max(v+p.offset[s.key], p.base[s.key])
			p.base[s.key] = v
		}
		now[s.key] = s
		i.samples = append(i.samples, sample{s, v})
	})
	i.samples = append(i.samples, ended(p.previous, now)...)
	p.previous = now
	return i
}

// ended returns the ends of the series that are no longer there.
func ended(before, now map[string]*series) (ends []sample) {
	for key, s := range before {
		if now[key] == nil {
			ends = append(ends, sample{s, staleMarker})
		}
	}
	return ends
}
