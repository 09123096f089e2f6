package remotewrite

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/alert"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/config"
)

// Common practice, no source.
const (
	maxSamples = 5000                   // in one request, as far as one instant does not hold more
	gather     = 250 * time.Millisecond // waited for a further instant before a request leaves
	liveWithin = 5 * time.Minute        // an instant that is no older is of the present
	firstBack  = time.Second
	mostBack   = time.Hour
)

// cursor is what is kept over a restart.
type cursor struct {
	At       int64              `json:"at"`       // ms: all up to this instant is done
	Counters map[string]float64 `json:"counters"` // as they were sent last; those at 0 are left out
}

// receiver sends to one address.
type receiver struct {
	set    *config.RemoteWrite
	common *Setting
	client *http.Client
	broken error // why there is no client

	file    *alert.Cursor
	cursor  cursor
	machine machineSamples

	mu    sync.Mutex
	stat  snapshot.Receiver
	given span // the newest span that was given up, as far as it goes
}

// span is a time that the receiver does not take.
type span struct{ from, to int64 }

func newReceiver(s *Setting, set *config.RemoteWrite) *receiver {
	client, err := newClient(set)
	return &receiver{
		set: set, common: s, client: client, broken: err, machine: machineSamples{series: catalogue{}},
		stat: snapshot.Receiver{Name: set.Name, Address: set.Address(), Rejected: map[string]uint64{}},
	}
}

func (r *receiver) status() snapshot.Receiver {
	r.mu.Lock()
	defer r.mu.Unlock()
	s := r.stat
	s.Rejected = maps.Clone(s.Rejected)
	return s
}

// change changes the status.
func (r *receiver) change(f func(*snapshot.Receiver)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	f(&r.stat)
}

// run sends until ctx ends.
func (r *receiver) run(ctx context.Context) {
	if r.broken != nil {
		r.fault(r.broken.Error())
		return
	}
	defer r.client.CloseIdleConnections()
	if !r.load(ctx) {
		return
	}
	instants := make(chan instant)
	p := &producer{
		follower: follower{dir: r.common.Recordings, site: r.common.Site, now: r.common.Now, said: r.said},
		every:    r.set.Every, from: r.cursor.At, base: maps.Clone(r.cursor.Counters), out: instants,
	}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return p.run(ctx) })
	group.Go(func() error { return r.consume(ctx, instants) })
	if err := group.Wait(); errors.Is(err, errStop) {
		r.fault(err.Error())
	}
}

// load reads the cursor. Without one, sending begins with the first row that the
// daemon analyses, and counters are those that it shows.
func (r *receiver) load(ctx context.Context) bool {
	file, err := alert.OpenCursor(r.common.Dir, r.set.Name+".cursor", &r.cursor)
	r.file = file
	if err != nil {
		r.said("where sending had come to cannot be read, so it goes on from now: %v", err)
		r.cursor = cursor{}
	}
	now := r.common.Now().UnixMilli()
	if r.cursor.At > now+ahead.Milliseconds() {
		r.said("the clock was set back: up to %s something was sent already", clockOf(r.cursor.At))
		r.cursor.At = now
	}
	for r.cursor.At == 0 {
		if s, _ := r.common.Board.Current(); s != nil {
			r.cursor = cursor{At: s.Time.UnixMilli(), Counters: map[string]float64{}}
			metrics.Of(s, metrics.Counts, func(m metrics.Sample) {
				if m.Metric.Counter && m.Value != 0 {
					r.cursor.Counters[keyOf(m)] = m.Value
				}
			})
			r.save()
			break
		}
		if sleep(ctx, time.Second) != nil {
			return false
		}
	}
	if r.cursor.Counters == nil {
		r.cursor.Counters = map[string]float64{}
	}
	r.change(func(s *snapshot.Receiver) { s.UpTo = time.UnixMilli(r.cursor.At) })
	return true
}

func clockOf(ms int64) string { return time.UnixMilli(ms).UTC().Format(time.RFC3339) }

// said logs what a person should know.
func (r *receiver) said(format string, args ...any) {
	r.common.Log.Warn("remote write", "receiver", r.set.Name, "what", fmt.Sprintf(format, args...))
}

// fault shows and logs why nothing can be sent; empty: it works.
func (r *receiver) fault(text string) {
	before := ""
	r.change(func(s *snapshot.Receiver) { before, s.Fault = s.Fault, text })
	switch {
	case before == "" && text != "":
		r.said("%s", text)
	case before != "" && text == "":
		r.common.Log.Info("remote write works again", "receiver", r.set.Name)
	}
}

func (r *receiver) save() {
	err := r.file.Save(r.cursor)
	r.change(func(s *snapshot.Receiver) {
		s.Unsaved = ""
		if err != nil {
			s.Unsaved = err.Error()
		}
	})
}

// consume gathers instants and hands them over.
func (r *receiver) consume(ctx context.Context, instants <-chan instant) error {
	for {
		var batch []instant
		samples := 0
		timer := time.NewTimer(gather)
		for samples < maxSamples {
			var waited <-chan time.Time // the first instant is waited for without end
			if len(batch) > 0 {
				waited = timer.C
			}
			select {
			case <-ctx.Done():
				return ctx.Err()
			case i := <-instants:
				batch = append(batch, i)
				samples += len(i.samples)
				timer.Reset(gather)
				continue
			case <-waited:
			}
			break
		}
		timer.Stop()
		last := &batch[len(batch)-1]
		if r.common.Now().UnixMilli()-last.at <= liveWithin.Milliseconds() {
			if m := r.machine.now(r.common, last.at); len(m.samples) > 0 {
				last.samples = append(slices.Clone(last.samples), m.samples...)
			}
		}
		if err := r.deliver(ctx, batch); err != nil {
			return err
		}
	}
}

// deliver hands instants over, or gives them up by what the receiver answers. It
// returns an error only when ctx ends.
func (r *receiver) deliver(ctx context.Context, batch []instant) error {
	body := encode(batch)
	for failed := 0; ; failed++ {
		verdict, wait, reason := r.send(ctx, body)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if verdict != taken {
			r.change(func(s *snapshot.Receiver) { s.Failures++ })
		}
		switch verdict {
		case taken:
			r.change(func(s *snapshot.Receiver) { s.Samples += countOf(batch) })
			r.fault("")
			r.done(batch)
			return nil
		case passedOver:
			r.reject("refused", batch, reason)
			return nil
		case tooOld, tooLarge:
			if len(batch) > 1 {
				half := len(batch) / 2
				if err := r.deliver(ctx, batch[:half]); err != nil {
					return err
				}
				return r.deliver(ctx, batch[half:])
			}
			r.reject(map[verdictKind]string{tooOld: "too_old", tooLarge: "too_large"}[verdict], batch, reason)
			return nil
		}
		r.fault(reason)
		if wait == 0 {
			wait = backoff(failed)
		}
		if err := sleep(ctx, min(wait, mostBack)); err != nil {
			return err
		}
	}
}

// backoff is the wait after so many failures in a row: from a second to an hour,
// and up to a fifth less, so that a thousand sites do not come at once.
func backoff(failed int) time.Duration {
	d := mostBack
	if failed < 12 { // 2^12 s are more than an hour
		d = min(firstBack<<failed, mostBack)
	}
	return d - rand.N(d/5+1)
}

func countOf(batch []instant) (n uint64) {
	for i := range batch {
		n += uint64(len(batch[i].samples))
	}
	return n
}

// reject goes on without instants that the receiver will never take.
func (r *receiver) reject(why string, batch []instant, reason string) {
	r.fault("")
	r.change(func(s *snapshot.Receiver) { s.Rejected[why] += countOf(batch) })
	from, to := batch[0].at, batch[len(batch)-1].at
	if why == "too_old" {
		if r.given.to == 0 || from-r.given.to > 2*r.set.Every.Milliseconds() {
			r.said("given up from %s on, the receiver takes nothing that old: %s", clockOf(from), reason)
			r.given.from = from
		}
		r.given.to = to
		r.change(func(s *snapshot.Receiver) {
			s.GivenFrom, s.GivenTo = time.UnixMilli(r.given.from), time.UnixMilli(r.given.to)
		})
	} else if r.status().Rejected[why] == countOf(batch) { // the first of its kind
		r.said("samples from %s to %s are passed over: %s", clockOf(from), clockOf(to), reason)
	}
	r.done(batch)
}

// done moves the cursor behind instants.
func (r *receiver) done(batch []instant) {
	for i := range batch {
		for _, s := range batch[i].samples {
			if s.counter && s.value != 0 && !s.ofMachine {
				r.cursor.Counters[s.key] = s.value
			}
		}
	}
	r.cursor.At = batch[len(batch)-1].at
	r.save()
	r.change(func(s *snapshot.Receiver) { s.UpTo = time.UnixMilli(r.cursor.At) })
}

// machineSamples makes what no recording holds, for the present alone.
type machineSamples struct {
	series   catalogue
	previous map[string]*series
}

// now returns what the newest snapshot shows of the gateway. It is sent with the
// time of an instant of the present.
func (m *machineSamples) now(s *Setting, at int64) (i instant) {
	shown, age := s.Board.Current()
	if shown == nil {
		return i
	}
	now := map[string]*series{}
	metrics.OfMachine(shown, age, s.Build, func(sample_ metrics.Sample) {
		of := m.series.of(sample_)
		of.ofMachine = true
		now[of.key] = of
		i.samples = append(i.samples, sample{of, sample_.Value})
	})
	i.at, i.samples = at, append(i.samples, ended(m.previous, now)...)
	m.previous = now
	return i
}
