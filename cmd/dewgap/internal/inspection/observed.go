package inspection

import (
	"math"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/commissioning"
)

const (
	// binLength is the resolution of traces; each stretch keeps its lowest
	// superheat, so that no dip is hidden.
	binLength = 10 * time.Second
	// traceBins is the most that one plot shows.
	traceBins = 400
	// traceMargin is the least that is shown before and after an event, and
	// traceShare the part of a long one.
	traceMargin = 15 * time.Minute
	traceShare  = 8
	// SumpClose is how near the oil sump is to suction dew when liquid has to be
	// expected in the oil. Common practice, no source.
	SumpClose units.Kelvin = 10
	// DischargeHot is the discharge temperature at which oil begins to suffer:
	// 225 °F at the line. Common practice, no source.
	DischargeHot units.Celsius = 107.2
)

// Observed is what recordings showed of one compressor.
type Observed struct {
	compressor int
	gaps       reading.GapDetector
	from, to   time.Time
	rows       int
	gapTime    time.Duration
	last       analyze.State
	lastSump   units.Kelvin // over dew
	lastHot    units.Celsius
	seen       bool
	wasOff     bool
	months     map[string]*work
	bins       []bin // those that hold a row, in order of time
	machines   []analyze.Machine
}

// bin is a stretch of binLength.
type bin struct {
	at                                  int64 // number of the stretch since the epoch
	lowest, highest, uncertainty, floor float32
	dew, pipe                           float32
	phase                               frame.Phase
}

// Work is what recordings showed of a compressor in some time. Times are in s;
// the lowest and highest values are null where nothing was known.
type Work struct {
	WatchedSeconds  float64 `json:"watched_seconds"`
	RunningSeconds  float64 `json:"running_seconds"`
	UnknownSeconds  float64 `json:"unknown_seconds"` // watched, and the phase not known
	Starts          uint64  `json:"starts"`
	SumpSeconds     float64 `json:"sump_known_seconds"` // running with the sump known
	SumpNearSeconds float64 `json:"sump_near_dew_seconds"`
	// LowestSumpOverDewK is the least of sump less suction dew while running.
	LowestSumpOverDewK  *float64 `json:"lowest_sump_over_dew_k"`
	DischargeSeconds    float64  `json:"discharge_known_seconds"` // running with the discharge known
	DischargeHotSeconds float64  `json:"discharge_hot_seconds"`
	HighestDischargeC   *float64 `json:"highest_discharge_c"`
}

// Recorded is what recordings cover.
type Recorded struct {
	From       time.Time `json:"from"`
	To         time.Time `json:"to"`
	Rows       int       `json:"rows"`
	GapSeconds float64   `json:"gap_seconds"`
	Work
}

// work is the working form of Work.
type work struct {
	Work
	lowest, highest float64
}

func newWork() *work { return &work{lowest: math.Inf(1), highest: math.Inf(-1)} }

func (w *work) export() Work {
	x := w.Work
	x.LowestSumpOverDewK, x.HighestDischargeC = rounded(w.lowest), rounded(w.highest)
	return x
}

// rounded returns v to 0.1, or nil where it is not finite.
func rounded(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	r := math.Round(v*10)/10 + 0
	return &r
}

// NewObserved returns what nothing has been seen of yet. compressor is its index
// over the site.
func NewObserved(compressor int) *Observed {
	return &Observed{compressor: compressor, months: map[string]*work{}}
}

// Source is the analysis after it has taken a row.
type Source interface {
	Machines([]analyze.Machine) []analyze.Machine
}

// Add takes one row's result.
func (o *Observed) Add(r analyze.Result, s Source) {
	interval := o.gaps.Next(r.Time)
	if o.rows == 0 {
		o.from = r.Time.UTC()
	}
	o.rows++
	o.to = r.Time.UTC()
	if interval.Gap {
		o.gapTime += interval.Between
	}
	o.machines = s.Machines(o.machines[:0])
	m, st := &o.machines[o.compressor], &r.States[o.compressor]
	o.count(st, interval.Watched)
	o.last, o.seen = *st, true
	o.lastSump, o.lastHot = units.Kelvin(m.Sump-st.Dew), m.Discharge
	o.draw(st)
}

// count adds the time since the row before to the month of that row. Running and
// starts are counted as the ledger counts them.
func (o *Observed) count(st *analyze.State, watched time.Duration) {
	w := o.month(st.Time)
	if alert.IsRunning(st) && o.wasOff {
		w.Starts++
	}
	if st.Phase != frame.Unknown {
		o.wasOff = st.Phase == frame.Off
	}
	if !o.seen {
		return
	}
	w = o.month(o.last.Time)
	seconds := watched.Seconds()
	w.WatchedSeconds += seconds
	if o.last.Phase == frame.Unknown {
		w.UnknownSeconds += seconds
	}
	if !alert.IsRunning(&o.last) {
		return
	}
	w.RunningSeconds += seconds
	if over := float64(o.lastSump); !math.IsNaN(over) {
		w.SumpSeconds += seconds
		if o.lastSump < SumpClose {
			w.SumpNearSeconds += seconds
		}
		w.lowest = min(w.lowest, over)
	}
	if hot := float64(o.lastHot); !math.IsNaN(hot) {
		w.DischargeSeconds += seconds
		if o.lastHot > DischargeHot {
			w.DischargeHotSeconds += seconds
		}
		w.highest = max(w.highest, hot)
	}
}

func (o *Observed) month(t time.Time) *work {
	name := t.UTC().Format("2006-01")
	if o.months[name] == nil {
		o.months[name] = newWork()
	}
	return o.months[name]
}

// draw takes a row into its stretch.
func (o *Observed) draw(st *analyze.State) {
	at := st.Time.UnixNano() / int64(binLength)
	if n := len(o.bins); n == 0 || o.bins[n-1].at != at {
		nan := float32(math.NaN())
		o.bins = append(o.bins, bin{at: at, lowest: nan, highest: nan})
	}
	b := &o.bins[len(o.bins)-1]
	b.add(bin{
		lowest: float32(st.Superheat), highest: float32(st.Superheat), uncertainty: float32(st.Uncertainty), floor: float32(st.Floor),
		dew: float32(st.Dew), pipe: float32(st.SuctionTemperature), phase: st.Phase,
	})
}

// add takes a later value into b; extremes stay.
func (b *bin) add(x bin) {
	if x.lowest == x.lowest && !(b.lowest <= x.lowest) {
		b.lowest = x.lowest
	}
	if x.highest == x.highest && !(b.highest >= x.highest) {
		b.highest = x.highest
	}
	b.uncertainty, b.floor, b.dew, b.pipe, b.phase = x.uncertainty, x.floor, x.dew, x.pipe, x.phase
}

// recorded returns what the recordings cover; nil where there are none.
func (o *Observed) recorded() *Recorded {
	if o == nil || o.rows == 0 {
		return nil
	}
	all := newWork()
	for _, w := range o.months {
		all.WatchedSeconds += w.WatchedSeconds
		all.RunningSeconds += w.RunningSeconds
		all.UnknownSeconds += w.UnknownSeconds
		all.Starts += w.Starts
		all.SumpSeconds += w.SumpSeconds
		all.SumpNearSeconds += w.SumpNearSeconds
		all.DischargeSeconds += w.DischargeSeconds
		all.DischargeHotSeconds += w.DischargeHotSeconds
		all.lowest, all.highest = min(all.lowest, w.lowest), max(all.highest, w.highest)
	}
	return &Recorded{From: o.from, To: o.to, Rows: o.rows, GapSeconds: o.gapTime.Seconds(), Work: all.export()}
}

// trace cuts an event with its surroundings into at most traceBins stretches.
func (o *Observed) trace(ev *alert.Event) (Trace, bool) {
	if o == nil || ev == nil || o.rows == 0 {
		return Trace{}, false
	}
	end := o.to
	if ev.Closed != nil {
		end = *ev.Closed
	}
	if end.Before(o.from) || ev.Began.After(o.to) {
		return Trace{}, false
	}
	margin := max(traceMargin, end.Sub(ev.Began)/traceShare)
	first := ev.Began.Add(-margin).UnixNano() / int64(binLength)
	last := end.Add(margin).UnixNano() / int64(binLength)
	step := (last-first)/traceBins + 1
	n := int((last-first)/step) + 1
	nan := float32(math.NaN())
	empty := bin{lowest: nan, highest: nan, uncertainty: nan, floor: nan, dew: nan, pipe: nan}
	cut := make([]bin, n)
	for i := range cut {
		cut[i] = empty
	}
	known := false
	for i := range o.bins {
		b := &o.bins[i]
		if b.at < first || b.at > last {
			continue
		}
		cut[(b.at-first)/step].add(*b)
		known = known || b.lowest == b.lowest
	}
	if !known {
		return Trace{}, false
	}
	t := Trace{Trace: commissioning.Trace{Compressor: ev.Compressor}}
	for i := range cut {
		b := &cut[i]
		t.Times = append(t.Times, time.Unix(0, (first+int64(i)*step)*int64(binLength)).UTC())
		t.Lowest, t.Highest = append(t.Lowest, b.lowest), append(t.Highest, b.highest)
		t.Uncertainty, t.Floor = append(t.Uncertainty, b.uncertainty), append(t.Floor, b.floor)
		t.Dew, t.Pipe, t.Phase = append(t.Dew, b.dew), append(t.Pipe, b.pipe), append(t.Phase, b.phase)
	}
	return t, true
}
