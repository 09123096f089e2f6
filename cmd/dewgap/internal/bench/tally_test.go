package bench

import (
	"fmt"
	"math"
	"slices"

	"dewgap/alert"
	"dewgap/analyze/frame"
)

// ratio counts how many of some are right.
type ratio struct{ hit, of int }

func (r *ratio) count(hit bool) {
	r.of++
	if hit {
		r.hit++
	}
}

func (r *ratio) add(o ratio) { r.hit += o.hit; r.of += o.of }

func (r ratio) share() float64 { return float64(r.hit) / float64(max(r.of, 1)) }

// Tally is a score over any number of comparisons.
type Tally struct {
	phases    confusion
	episodes  ratio // lasting episodes that have an event
	events    ratio // floodback events that have an episode
	split     ratio // found episodes that have more than one event
	delays    []float64
	severity  [4][4]int // [truth][found]
	severe    ratio
	severeDis ratio // with a discharge temperature
	first     ratio // cause
	top       ratio // cause in the first three
	family    ratio // of causes
	placed    ratio // circuit
	starts    ratio
	faults    ratio

	days, healthyDays float64 // of compressors
	healthyFalse      int
	startFalse        int
	faultFalse        int
	other             map[string]int // events of other kinds
	stores            []storeShares  // of each store
	Notes             []string       // what went wrong
}

// storeShares are what was right in one store; NaN where there was nothing to
// judge. Their means weigh a store with one floodback as one with a hundred.
type storeShares struct{ recall, first, top, family, placed float64 }

// meanOfStores returns the mean of what is known, and of how many stores.
func (t *Tally) meanOfStores(of func(s *storeShares) float64) (mean float64, n int) {
	for i := range t.stores {
		if v := of(&t.stores[i]); !math.IsNaN(v) {
			n++
			mean += (v - mean) / float64(n)
		}
	}
	return mean, n
}

// Score adds the comparison and the events found in it.
func (t *Tally) Score(c *Comparison, events []alert.Event) {
	if len(c.times) < 2 {
		return
	}
	before := *t
	defer func() { t.stores = append(t.stores, t.sharesSince(&before)) }()
	for k := range c.Machines {
		var own confusion
		own.take(c, k, func(row int) frame.Phase { return c.found[row][k] })
		t.phases.add(&own)
		if mixed := own.mixed(); mixed != "" {
			t.note("%s %s: phases, hours: %s", c.Name, c.Machines[k].Name, mixed)
		}
		t.days += c.days()
		if c.Healthy {
			t.healthyDays += c.days()
		}
		m := &c.Machines[k]
		mine := map[string][]alert.Event{}
		for _, ev := range events {
			if ev.Group == m.Group && ev.Compressor == m.Name {
				mine[ev.Kind] = append(mine[ev.Kind], ev)
			}
		}
		t.floodback(c, k, mine["floodback"])
		t.flooded(c, k, mine["flooded_start"])
	}
	t.sensors(c, events)
	if t.other == nil {
		t.other = map[string]int{}
	}
	for _, ev := range events {
		if ev.Kind != "floodback" {
			t.other[ev.Kind]++
		}
	}
}

// sharesSince returns the shares of what was counted since before.
func (t *Tally) sharesSince(before *Tally) storeShares {
	share := func(now, then ratio) float64 {
		if now.of == then.of {
			return math.NaN()
		}
		return float64(now.hit-then.hit) / float64(now.of-then.of)
	}
	return storeShares{
		recall: share(t.episodes, before.episodes), first: share(t.first, before.first), top: share(t.top, before.top),
		family: share(t.family, before.family), placed: share(t.placed, before.placed),
	}
}

func (t *Tally) note(format string, args ...any) {
	t.Notes = append(t.Notes, fmt.Sprintf(format, args...))
}

// Add takes the scores of o into t.
func (t *Tally) Add(o *Tally) {
	t.phases.add(&o.phases)
	for i := range t.severity {
		for j := range t.severity[i] {
			t.severity[i][j] += o.severity[i][j]
		}
	}
	from := o.ratios()
	for i, r := range t.ratios() {
		r.add(*from[i])
	}
	t.delays = append(t.delays, o.delays...)
	t.days += o.days
	t.healthyDays += o.healthyDays
	t.healthyFalse += o.healthyFalse
	t.startFalse += o.startFalse
	t.faultFalse += o.faultFalse
	for k, n := range o.other {
		if t.other == nil {
			t.other = map[string]int{}
		}
		t.other[k] += n
	}
	t.stores = append(t.stores, o.stores...)
	t.Notes = append(t.Notes, o.Notes...)
}

func (t *Tally) ratios() []*ratio {
	return []*ratio{&t.episodes, &t.events, &t.split, &t.severe, &t.severeDis, &t.first, &t.top, &t.family, &t.placed, &t.starts, &t.faults}
}

// quantile of the delays; 0 when there is none.
func (t *Tally) quantile(percent int) float64 {
	n := len(t.delays)
	if n == 0 {
		return 0
	}
	d := slices.Clone(t.delays)
	slices.Sort(d)
	return d[min(n-1, n*percent/100)]
}
