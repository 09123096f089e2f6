package modbus

import (
	"cmp"
	"context"
	"fmt"
	"hash/fnv"
	"log/slog"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector"
)

// Source reads one bus. It implements collector.Source.
type Source struct {
	settings Settings
	clock    collector.Clock
	log      *slog.Logger
	random   func() float64
	dial     func(context.Context) (conn, error)
	jobs     []*job

	// Fields from here to mu belong to Run's goroutine.
	bus         *bus
	busBackoff  backoff
	probeBudget probeBudget
	cycle       cycle
	out         collector.Sink
	// lateLogged is when late cycles were logged last, lateUnlogged how many reads
	// were left out since.
	lateLogged   time.Time
	lateUnlogged int64

	mu     sync.Mutex
	status collector.Status
	units  map[uint8]*backoff
}

// job is what is read of one unit at one period.
type job struct {
	unit   uint8
	period time.Duration
	next   time.Time
	blocks []*block
	begin  int // the block to begin with, so that a dead one does not starve the others
}

// Options of a source besides what is read.
type Options struct {
	Clock collector.Clock
	Log   *slog.Logger // nil logs nothing
	Seed  uint64       // of all jitter
}

// New prepares a source; nothing is opened before Run.
func New(s Settings, o Options) (*Source, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	source := &Source{settings: s, clock: o.Clock, dial: s.dialer(),
		log:    o.Log.With("source", s.Name),
		random: rand.New(rand.NewPCG(o.Seed, nameHash(s.Name))).Float64,
		units:  make(map[uint8]*backoff),
		status: collector.Status{Name: s.Name, Kind: s.Transport.kind(), Address: s.Address, Reason: "not started", Errors: make(map[string]uint64)},
	}
	source.jobs = newJobs(&s)
	for _, j := range source.jobs {
		source.units[j.unit] = &backoff{}
	}
	return source, nil
}

func nameHash(name string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(name))
	return h.Sum64()
}

// newJobs sorts points by unit and period and plans the reads of each.
func newJobs(s *Settings) []*job {
	type key struct {
		unit   uint8
		period time.Duration
	}
	var order []key
	sorted := make(map[key][]*state)
	for _, p := range s.Points {
		k := key{p.Unit, p.Period}
		if k.period == 0 {
			k.period = s.Period
		}
		if sorted[k] == nil {
			order = append(order, k)
		}
		sorted[k] = append(sorted[k], &state{Point: p})
	}
	jobs := make([]*job, 0, len(order))
	for _, k := range order {
		jobs = append(jobs, &job{unit: k.unit, period: k.period, blocks: plan(sorted[k], s.Gap, s.Forbidden)})
	}
	return jobs
}

// Name returns the source's name.
func (s *Source) Name() string { return s.settings.Name }

// Run reads until ctx ends.
func (s *Source) Run(ctx context.Context, out collector.Sink) error {
	s.out = out
	s.bus = newBus(&s.settings, s.dial)
	defer s.bus.close()
	defer context.AfterFunc(ctx, s.bus.interrupt)()
	s.schedule(s.clock.Now())
	for _, j := range s.jobs {
		s.cycle.length = max(s.cycle.length, j.period)
	}
	for len(s.jobs) > 0 {
		j := slices.MinFunc(s.jobs, func(a, b *job) int { return a.next.Compare(b.next) })
		if err := s.clock.Until(ctx, j.next); err != nil {
			return nil
		}
		s.run(ctx, j)
		s.advance(j)
	}
	<-ctx.Done()
	return nil
}

// cycle adds up how long the bus is busy while its slowest points come round
// once: reading, waiting for what does not answer, and the silence after it.
type cycle struct {
	length time.Duration // the longest period
	ends   time.Time
	busy   time.Duration
}

// begin starts a new cycle when the one before is over, and then returns how
// long the bus was busy in that one. It is more than the length when the bus
// cannot keep it.
// at is when the bus was to be read, so that no jitter moves a read from one
// cycle into another.
func (c *cycle) begin(at time.Time) (busy time.Duration, whole bool) {
	if at.Before(c.ends) {
		return 0, false
	}
	busy, whole = c.busy, !c.ends.IsZero()
	c.ends, c.busy = at.Add(c.length), 0
	return busy, whole
}

func (c *cycle) add(took time.Duration) { c.busy += took }

// schedule spreads the first reads over their periods: buses by their names,
// the units of a bus evenly. The same configuration gives the same schedule.
func (s *Source) schedule(now time.Time) {
	share := float64(nameHash(s.settings.Name)%1000) / 1000
	for i, j := range s.jobs {
		at := share + float64(i)/float64(len(s.jobs))
		at -= float64(int(at))
		j.next = now.Add(time.Duration(at * float64(j.period)))
	}
}

// advance sets the job's next time on its fixed grid. What is already past is
// counted and left out: nothing is read twice to catch up.
func (s *Source) advance(j *job) {
	j.next = j.next.Add(j.period)
	now := s.clock.Now()
	overdue := now.Sub(j.next)
	if overdue < 0 {
		return
	}
	missed := overdue/j.period + 1
	j.next = j.next.Add(missed * j.period)
	s.mu.Lock()
	s.status.LateCycles += uint64(missed)
	s.mu.Unlock()
	s.logLate(j, now, int64(missed))
}

// lateLogEvery is the least time between two lines about late cycles of a bus: a
// busy machine is late every few seconds.
const lateLogEvery = time.Minute

// logLate logs that reads were left out, at once or, after a line, with the next
// one that comes a minute later or more.
func (s *Source) logLate(j *job, now time.Time, missed int64) {
	s.lateUnlogged += missed
	if !s.lateLogged.IsZero() && now.Sub(s.lateLogged) < lateLogEvery {
		return
	}
	s.log.Warn("cycles late: the bus is too slow for the period, or the machine is busy or slept", "unit", j.unit, "period", j.period, "left out", s.lateUnlogged)
	s.lateLogged, s.lateUnlogged = now, 0
}

// run reads all blocks of a job.
func (s *Source) run(ctx context.Context, j *job) {
	if took, whole := s.cycle.begin(j.next); whole {
		s.mu.Lock()
		s.status.Cycle = took
		s.mu.Unlock()
	}
	start := time.Now()
	begin := j.begin
	for i := range j.blocks {
		b := j.blocks[(begin+i)%len(j.blocks)]
		f := s.read(ctx, b)
		if ctx.Err() != nil {
			return
		}
		if f != nil && f.ofUnit() {
			// The next time begins after the block that failed; now the rest of
			// a silent unit's blocks fail with it, at no cost to its neighbours.
			j.begin = (begin + i + 1) % len(j.blocks)
			if f.Code != reading.BadFrame {
				for k := i + 1; k < len(j.blocks); k++ {
					s.deliverFailure(j.blocks[(begin+k)%len(j.blocks)], f.Reason())
				}
				break
			}
		}
	}
	s.cycle.add(time.Since(start))
}

// read does one block, or its halves, and delivers what comes of it.
func (s *Source) read(ctx context.Context, b *block) *Failure {
	now := s.clock.Now()
	unit := s.units[b.unit]
	for _, r := range []*backoff{&s.busBackoff, unit, &b.backoff} {
		if r.resting(now) {
			s.deliverFailure(b, fmt.Sprintf("%s: %s; next try %s", reading.Resting, r.reason, r.until.Format("15:04:05")))
			return nil
		}
	}
	if !s.mayProbe(b, now) {
		s.deliverFailure(b, fmt.Sprintf("%s: %s; others that do not answer are tried first", reading.Resting, cmp.Or(unit.reason, b.backoff.reason)))
		return nil
	}
	if b.halves != nil && now.Before(b.rejoin) {
		return s.readHalves(ctx, b)
	}
	data, f := s.bus.read(ctx, b.unit, b.table, b.first, b.length)
	if ctx.Err() != nil {
		return f
	}
	after := s.clock.Now()
	s.recordResult(b, f, after, after.Sub(now))
	switch {
	case f == nil:
		if b.halves != nil {
			s.log.Info("read joined again", "read", b.String())
			b.halves, b.splits = nil, 0
		}
		for _, p := range b.points {
			s.out.Put(p.reading(data, b.first, after))
		}
		return nil
	case len(b.points) > 1 && (f.Code == illegalAddr || f.Code == illegalValue):
		if b.halves == nil {
			s.log.Info("read split: the device refuses it as a whole", "read", b.String(), "reason", f.Reason())
		}
		b.refused(after, s.random)
		return s.readHalves(ctx, b)
	}
	s.deliverFailure(b, f.Reason())
	return f
}

func (s *Source) readHalves(ctx context.Context, b *block) *Failure {
	var worst *Failure
	for i, half := range b.halves {
		f := s.read(ctx, half)
		if f == nil || ctx.Err() != nil {
			continue
		}
		worst = f
		if f.ofUnit() && f.Code != reading.BadFrame {
			for _, other := range b.halves[i+1:] {
				s.deliverFailure(other, f.Reason())
			}
			break
		}
	}
	return worst
}

// deliverFailure delivers a failure to all points of a block.
func (s *Source) deliverFailure(b *block, reason string) {
	now := s.clock.Now()
	for _, p := range b.points {
		r := reading.Fail(p.Index, reason)
		r.Time = now
		s.out.Put(r)
	}
}
