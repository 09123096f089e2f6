package floodback_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

var begin = time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)

// film plays hand-made moments of one compressor to its detectors, and what
// they find to a book.
type film struct {
	t        testing.TB
	fluid    *refrigerant.Fluid
	settings floodback.Settings
	set      floodback.Set
	book     *alert.Book
	history  *alert.History
	now      floodback.Moment
	every    time.Duration
	at       time.Duration // since begin
	found    []floodback.Finding
	since    time.Duration // of running or standing
}

// newFilm returns a film of a machine that has been running for an hour in
// steady state with 15 K of superheat, read each second.
func newFilm(t testing.TB, fluid string, dew, condensing float64) *film {
	t.Helper()
	line, err := refrigerant.Lookup(fluid)
	if err != nil {
		t.Fatal(err)
	}
	f := &film{t: t, fluid: line, settings: floodback.DefaultSettings(), every: time.Second, since: -time.Hour}
	f.set = floodback.NewSet(&f.settings, line)
	f.book = alert.NewBook(analyze.Site{Name: "invented", Groups: []analyze.Group{{
		Name: "g", Detect: f.settings, Compressors: []analyze.Compressor{{Name: "c"}},
	}}})
	f.history = alert.NewHistory(0)
	f.now = floodback.Moment{
		Kind: floodback.Scroll, Phase: phase.Steady, Running: phase.Yes, Whole: true, Stopped: int64(time.Hour),
		Quality: reading.Good, Uncertainty: 2, Superheat: 15,
		DischargeTemperature: math.NaN(), SumpTemperature: math.NaN(), Ambient: 24,
	}
	f.pressures(dew, condensing)
	return f
}

// pressures sets both pressures by their dew temperatures, °C.
func (f *film) pressures(dew, condensing float64) {
	of := func(t float64) float64 {
		p, err := f.fluid.DewPressure(units.Celsius(t))
		if err != nil {
			f.t.Fatal(err)
		}
		return float64(p)
	}
	f.now.Dew, f.now.SuctionPressure = dew, of(dew)
	f.now.CondensingDew, f.now.DischargePressure = math.NaN(), math.NaN()
	if !math.IsNaN(condensing) {
		f.now.CondensingDew, f.now.DischargePressure = condensing, of(condensing)
	}
}

// shot shows one moment, d after the one before, and returns the verdicts that
// were not Clear.
func (f *film) shot(d time.Duration) map[floodback.Kind]floodback.Verdict {
	f.at += d
	m := f.now
	at := begin.Add(f.at)
	m.At, m.Step = at.UnixNano(), int64(d)
	m.Floor = float64(f.settings.Floor.In(m.Phase))
	m.Margin = m.Superheat - m.Floor
	m.SuctionTemperature = m.Dew + m.Superheat
	m.RunningFor = int64(f.at - f.since)
	f.found = f.set.Step(&m, f.found[:0])
	f.history.Apply(f.book.Step(analyze.Result{Time: at, Findings: f.found, States: []analyze.State{{
		Time: at, Group: "g", Name: "c", Phase: m.Phase, Quality: m.Quality,
		Superheat: units.Kelvin(m.Superheat), Floor: units.Kelvin(m.Floor), Margin: units.Kelvin(m.Margin),
	}}})...)
	verdicts := map[floodback.Kind]floodback.Verdict{}
	for _, x := range f.found {
		verdicts[x.Kind] = x.Verdict
	}
	return verdicts
}

// roll shows the moment as it is for d.
func (f *film) roll(d time.Duration) { f.change(d, nil) }

// change shows moments for d, letting each be changed by the time since the
// beginning of this piece.
func (f *film) change(d time.Duration, change func(since time.Duration, m *floodback.Moment)) {
	for t := f.every; t <= d; t += f.every {
		if change != nil {
			change(t, &f.now)
		}
		f.shot(f.every)
	}
}

// stop and start switch the machine.
func (f *film) stop() {
	f.now.Running, f.now.Phase, f.since = phase.No, phase.Off, f.at+f.every
}

func (f *film) start() {
	f.now.Stopped = int64(f.at + f.every - f.since)
	f.now.Running, f.now.Phase, f.since = phase.Yes, phase.Start, f.at+f.every
}

// events returns the events so far, with their severity: "floodback risk".
func (f *film) events() []string {
	f.history.Refresh(f.book.Open())
	list := []string{}
	for _, ev := range f.history.Events() {
		list = append(list, fmt.Sprintf("%s %s", ev.Kind, ev.Severity))
	}
	return list
}

// kinds returns the kinds of the events so far, each once.
func (f *film) kinds() map[string]bool {
	f.history.Refresh(f.book.Open())
	set := map[string]bool{}
	for _, ev := range f.history.Events() {
		set[ev.Kind] = true
	}
	return set
}

// last returns the newest event.
func (f *film) last() alert.Event {
	f.t.Helper()
	f.history.Refresh(f.book.Open())
	all := f.history.Events()
	if len(all) == 0 {
		f.t.Fatal("no event")
	}
	return all[len(all)-1]
}
