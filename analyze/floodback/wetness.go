package floodback

import (
	"fmt"
	"math"

	"dewgap/analyze/filter"
)

// wetness grades a floodback by every sign there is: how long the suction line
// sat at dew or near it, how much liquid the discharge temperature shows, and
// what the oil does.
type wetness struct {
	limits *WetLimits
	liquid liquidMeter

	cold      filter.Slope
	superheat float64 // as it is now behind the lag of its sensor
	sump      filter.Slope

	// How long each sign has lasted, ns. A sign that is gone is forgotten twice
	// as fast as it came.
	atDew int64 // the line sat at dew
	near  int64 // … or so near that droplets ride along
	damp  int64 // the discharge shows more than damp gas
	over  int64 // … what harms the machine
	oil   int64 // the oil takes up liquid
	quiet bool  // none of them is there
}

const (
	coldTau   = 5.0          // s; noise of the superheat
	wallLag   = 6.0          // s; the pipe's wall between gas and sensor
	sumpTau   = 20.0         // s
	sumpAfter = int64(600e9) // ns of running before falling oil is not that of a warm start
	// Gas that far above the wet edge is dry, whatever the discharge does; a
	// burst is over before a clamp has followed it down.
	dampAbove  = 4.0 // K
	burstAbove = 8.0 // K
)

func newWetness(v Vapour, l *WetLimits) wetness {
	w := wetness{limits: l, liquid: newLiquidMeter(v), cold: filter.Slope{Tau: coldTau}, sump: filter.Slope{Tau: sumpTau}}
	w.stop()
	return w
}

// rest forgets what an episode gathered.
func (w *wetness) rest() {
	w.atDew, w.near, w.over, w.damp, w.oil, w.quiet = 0, 0, 0, 0, 0, true
}

// stop forgets what a stopped machine makes void; what was learned of it stays.
func (w *wetness) stop() {
	w.rest()
	w.cold.Reset()
	w.sump.Reset()
	w.liquid.stop()
	w.superheat = math.NaN()
}

// step takes the next moment of a running compressor.
func (w *wetness) step(m *Moment) {
	w.cold.Update(m.Superheat, m.Step)
	w.superheat = w.cold.Ahead(m.Lag + wallLag)
	w.sump.Update(m.SumpTemperature, m.Step)
	edge := w.edge(m)
	w.liquid.step(m, w.superheat, edge)
	low := min(w.superheat, w.liquid.cold.Value())
	warm := edge + max(burstAbove, float64(w.limits.NearDew)) // no sign shows above it
	if w.quiet && w.superheat > warm && !(low < warm) {
		return
	}

	count := func(x *int64, on bool) {
		if on {
			*x += m.Step
		} else {
			*x = max(0, *x-2*m.Step)
		}
	}
	count(&w.atDew, w.superheat < edge)
	count(&w.near, w.superheat < edge+float64(w.limits.NearDew))
	count(&w.damp, w.liquid.least() > w.limits.MinorLiquid && low < edge+dampAbove)
	over := w.liquid.burst()
	if low < edge { // the line bears it out: no benefit of the doubt
		over = max(over, w.liquid.liquid)
	}
	count(&w.over, over > w.limits.MajorLiquid.Of(m.Kind) && low < edge+burstAbove)
	count(&w.oil, w.superheat < edge && m.RunningFor > sumpAfter &&
		(w.sump.PerSecond()*60 < -float64(w.limits.SumpFall) || w.sump.Value()-m.Dew < float64(w.limits.SumpNear)))
	w.quiet = w.atDew|w.near|w.damp|w.over|w.oil == 0
}

// edge is what a wet line may read above dew: the room warms the clamp.
func (w *wetness) edge(m *Moment) float64 {
	room := m.Ambient
	if math.IsNaN(room) {
		room = usualRoom
	}
	edge := float64(w.limits.Edge)
	return max(edge, edge/2+w.limits.Contact*(room-m.SuctionTemperature))
}

const usualRoom = 24.0 // °C, of a machine room; common practice, no source

// severity grades the condition as far as it is known now.
func (w *wetness) severity(m *Moment) Severity {
	// A line that stays near dew carries droplets, whatever the discharge shows:
	// the least that counts lowers it by a kelvin or so, which nobody can tell
	// from dry gas.
	l := w.limits
	major := l.MajorLiquid.Of(m.Kind)
	stuck := int64(float64(l.StuckFor) * major / 0.05)
	dry := w.liquid.atMost() < l.MinorLiquid
	blind := math.IsNaN(w.liquid.liquid)
	switch {
	case w.over >= int64(l.MajorHold), w.oil >= int64(l.SumpHold) && !dry, w.atDew >= stuck && blind:
		return Major
	case w.damp >= int64(l.MinorHold), w.near >= int64(l.NearHold):
		return Minor
	}
	return Risk
}

func (w *wetness) words(m *Moment) []string {
	var lines []string
	if w.atDew > 0 {
		lines = append(lines, fmt.Sprintf("the suction line has been at dew for %s: the gas is wet, how wet the superheat cannot tell", spanned(w.atDew)))
	}
	l := &w.liquid
	shows := l.least() > w.limits.MinorLiquid/2
	switch {
	case shows && l.full:
		lines = append(lines, fmt.Sprintf("discharge is at the condensing temperature: %.1f %% of liquid by mass or more", 100*l.liquid))
	case shows:
		lines = append(lines, fmt.Sprintf("discharge heads for %.0f K below what dry gas gives on this machine: about %.1f %% of liquid by mass, ± %.1f %%", l.fell, 100*l.liquid, 100*l.doubt))
	case !l.hot.Known():
		lines = append(lines, "no discharge temperature: wetness is judged by the suction line alone")
	case !l.machine.known():
		lines = append(lines, "the machine's efficiency is not learned yet: the discharge temperature tells only gross wetness")
	}
	if w.oil > 0 {
		lines = append(lines, fmt.Sprintf("the oil sump is %.0f K above dew and cooling", w.sump.Value()-m.Dew))
	}
	return lines
}

// spanned writes a time in seconds, and a long one in minutes.
func spanned(ns int64) string {
	if ns < 120e9 {
		return fmt.Sprintf("%.0f s", float64(ns)/1e9)
	}
	return fmt.Sprintf("%.0f min", float64(ns)/60e9)
}
