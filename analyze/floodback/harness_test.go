package floodback_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

var begin = time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)

// harness steps hand-made frames of one compressor through its detectors, and
// their findings through the book of events.
type harness struct {
	t        testing.TB
	fluid    *refrigerant.Fluid
	settings floodback.Settings
	set      floodback.Set
	book     *alert.Tracker
	history  *alert.History
	frame    frame.Frame
	c        *frame.Compressor // in frame
	every    time.Duration
	at       time.Duration // since begin
	found    []floodback.Finding
	since    time.Duration // of running or standing
}

// newHarness returns a harness with a machine that has been running for an hour
// in steady state with 15 K of superheat, read each second.
func newHarness(t testing.TB, fluid string, dew, condensing float64) *harness {
	t.Helper()
	line, err := refrigerant.Lookup(fluid)
	if err != nil {
		t.Fatal(err)
	}
	h := &harness{t: t, fluid: line, settings: floodback.DefaultSettings(), every: time.Second, since: -time.Hour}
	h.set = floodback.NewSet(&h.settings, line, 0)
	h.book = alert.NewTracker(analyze.Site{Name: "invented", Groups: []analyze.Group{{
		Name: "g", Detect: h.settings, Compressors: []analyze.Compressor{{Name: "c"}},
	}}})
	h.history = alert.NewHistory(0)
	h.frame = frame.Frame{Ambient: 24, Compressors: []frame.Compressor{{
		Kind: frame.Scroll, Phase: frame.Steady, Running: frame.Yes, Sure: true, Whole: true, Stopped: int64(time.Hour),
		Inlet:     superheat.Value{Quality: reading.Good, Uncertainty: 2, Superheat: 15},
		Discharge: units.Celsius(math.NaN()), Sump: units.Celsius(math.NaN()),
	}}}
	h.c = &h.frame.Compressors[0]
	h.pressures(dew, condensing)
	return h
}

// pressures sets both pressures by their dew temperatures, °C.
func (h *harness) pressures(dew, condensing float64) {
	of := func(t float64) units.Pascal {
		p, err := h.fluid.DewPressure(units.Celsius(t))
		if err != nil {
			h.t.Fatal(err)
		}
		return p
	}
	h.c.Inlet.Dew, h.c.Inlet.Pressure = units.Celsius(dew), of(dew)
	h.frame.CondensingDew, h.frame.DischargePressure = units.Celsius(math.NaN()), units.Pascal(math.NaN())
	if !math.IsNaN(condensing) {
		h.frame.CondensingDew, h.frame.DischargePressure = units.Celsius(condensing), of(condensing)
	}
}

// step takes the frame d after the one before.
func (h *harness) step(d time.Duration) {
	h.t.Helper()
	h.at += d
	x, c := &h.frame, h.c
	at := begin.Add(h.at)
	x.At, x.Step = at.UnixNano(), int64(d)
	c.Floor = h.settings.Floor.In(c.Phase)
	c.Margin = c.Inlet.Superheat - c.Floor
	c.Inlet.Temperature = c.Inlet.Dew + units.Celsius(c.Inlet.Superheat)
	c.RunningFor = int64(h.at - h.since)
	h.found = h.set.Step(x, 0, h.found[:0])
	for _, f := range h.found {
		for _, item := range f.Evidence {
			if err := evidence.Check(item); err != nil {
				h.t.Error(err)
			}
		}
	}
	h.history.Apply(h.book.Step(analyze.Result{Time: at, Findings: h.found, States: []analyze.State{{
		Time: at, Group: "g", Name: "c", Phase: c.Phase, Quality: c.Inlet.Quality,
		Superheat: c.Inlet.Superheat, Floor: c.Floor, Margin: c.Margin,
	}}})...)
}

// finding returns the newest finding of a kind; one that is Clear when there is
// none.
func (h *harness) finding(k floodback.Kind) floodback.Finding {
	for _, f := range h.found {
		if f.Kind == k {
			return f
		}
	}
	return floodback.Finding{Kind: k, Verdict: floodback.Clear}
}

// run repeats the frame as it is for d.
func (h *harness) run(d time.Duration) { h.change(d, nil) }

// change steps for d, letting each frame be changed by the time since the
// beginning of this piece.
func (h *harness) change(d time.Duration, change func(since time.Duration, c *frame.Compressor)) {
	h.t.Helper()
	for t := h.every; t <= d; t += h.every {
		if change != nil {
			change(t, h.c)
		}
		h.step(h.every)
	}
}

// stop and start switch the machine.
func (h *harness) stop() {
	h.c.Running, h.c.Phase, h.since = frame.No, frame.Off, h.at+h.every
}

func (h *harness) start() {
	h.c.Stopped = int64(h.at + h.every - h.since)
	h.c.Running, h.c.Phase, h.since = frame.Yes, frame.Start, h.at+h.every
}

// events returns the events so far, with their severity: "floodback risk".
func (h *harness) events() []string {
	h.history.Refresh(h.book.Open())
	list := []string{}
	for _, ev := range h.history.Events() {
		list = append(list, fmt.Sprintf("%s %s", ev.Kind, ev.Severity))
	}
	return list
}

// kinds returns the kinds of the events so far, each once.
func (h *harness) kinds() map[string]bool {
	h.history.Refresh(h.book.Open())
	set := map[string]bool{}
	for _, ev := range h.history.Events() {
		set[ev.Kind] = true
	}
	return set
}

// last returns the newest event.
func (h *harness) last() alert.Event {
	h.t.Helper()
	h.history.Refresh(h.book.Open())
	all := h.history.Events()
	if len(all) == 0 {
		h.t.Fatal("no event")
	}
	return all[len(all)-1]
}

// evidence returns the item of that code in the newest event, and whether it is
// there.
func (h *harness) evidence(code evidence.Code) (evidence.Item, bool) {
	h.t.Helper()
	for _, item := range h.last().Evidence {
		if item.Code == code {
			return item, true
		}
	}
	return evidence.Item{}, false
}
