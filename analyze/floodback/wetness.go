package floodback

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// wetness grades a floodback by every sign there is: how long the suction line
// sat at dew or near it, how much liquid the discharge temperature shows, and
// what the oil does.
type wetness struct {
	limits *WetLimits
	liquid liquidMeter

	measured filter.Slope // superheat
	gas      float64      // estimate of the gas superheat now, sensor lag removed, K
	sump     filter.Slope

	// How long each sign has lasted, ns. A sign that is gone counts down twice
	// as fast as it counted up.
	atDew    int64   // the line was at dew
	nearDew  int64   // it was so near that droplets ride along
	damp     int64   // the discharge shows more than damp gas
	flooded  int64   // the discharge shows what harms the machine
	wetOil   int64   // the oil takes up liquid
	oilLow   float64 // lowest smoothed sump over dew while it did, K; NaN: never
	oilFall  float64 // fastest fall of the smoothed sump while it did, K/min
	unmarked bool    // none of the signs counts
}

const (
	measuredTau = 5.0               // s; noise of the superheat; common practice, no source
	wallLag     = 6.0               // s; the pipe's wall between gas and sensor; common practice, no source
	sumpTau     = 20.0              // s; common practice, no source
	sumpAfter   = int64(600e9)      // ns of running before falling oil is not that of a warm start; common practice, no source
	usualRoom   = units.Celsius(24) // of a machine room; common practice, no source

	// Gas that far above the wet edge is dry, whatever the discharge does; a
	// burst is over before a clamp has followed it down. K; common practice, no
	// source.
	dampAbove  = 4.0
	burstAbove = 8.0

	// referenceLiquid is the share of liquid that StuckFor is stated for.
	referenceLiquid = 0.05
)

func newWetness(v Vapour, l *WetLimits) wetness {
	w := wetness{limits: l, liquid: newLiquidMeter(v), measured: filter.Slope{Tau: measuredTau}, sump: filter.Slope{Tau: sumpTau}}
	w.stop()
	return w
}

// reset forgets the signs of a dip.
func (w *wetness) reset() {
	w.atDew, w.nearDew, w.damp, w.flooded, w.wetOil = 0, 0, 0, 0, 0
	w.oilLow, w.oilFall, w.unmarked = math.NaN(), 0, true
}

// stop resets everything but what was learned of the machine.
func (w *wetness) stop() {
	w.reset()
	w.measured.Reset()
	w.sump.Reset()
	w.liquid.stop()
	w.gas = math.NaN()
}

// step takes the next frame of a running compressor.
func (w *wetness) step(x *frame.Frame, c *frame.Compressor) {
	w.measured.Update(float64(c.Inlet.Superheat), x.Step)
	w.gas = w.measured.Ahead(c.Lag + wallLag)
	w.sump.Update(float64(c.Sump), x.Step)
	edge := w.edge(x, c)
	w.liquid.step(x, c, w.gas, edge)
	low := min(w.gas, w.liquid.delayed.Value())
	warm := edge + max(burstAbove, float64(w.limits.NearDew)) // above it there is no sign
	if w.unmarked && w.gas > warm && !(low < warm) {
		return
	}

	count := func(sign *int64, on bool) {
		if on {
			*sign += x.Step
		} else {
			*sign = max(0, *sign-2*x.Step)
		}
	}
	count(&w.atDew, w.gas < edge)
	count(&w.nearDew, w.gas < edge+float64(w.limits.NearDew))
	count(&w.damp, w.liquid.atLeast() > w.limits.MinorLiquid && low < edge+dampAbove)
	share := w.liquid.burst()
	if low < edge { // the line confirms it: nothing is taken off for uncertainty
		share = max(share, w.liquid.liquid)
	}
	count(&w.flooded, share > w.limits.MajorLiquid.Of(c.Kind) && low < edge+burstAbove)
	over, fall := w.sump.Value()-float64(c.Inlet.Dew), -60*w.sump.PerSecond()
	wetOil := w.gas < edge && c.RunningFor > sumpAfter && (fall > float64(w.limits.SumpFall) || over < float64(w.limits.SumpNear))
	count(&w.wetOil, wetOil)
	if wetOil {
		if !(over >= w.oilLow) {
			w.oilLow = over
		}
		w.oilFall = max(w.oilFall, fall)
	}
	w.unmarked = w.atDew|w.nearDew|w.damp|w.flooded|w.wetOil == 0
}

// edge returns what a wet line may read above dew, K: the room warms the clamp.
func (w *wetness) edge(x *frame.Frame, c *frame.Compressor) float64 {
	room := x.Ambient
	if math.IsNaN(float64(room)) {
		room = usualRoom
	}
	edge := float64(w.limits.Edge)
	return max(edge, edge/2+w.limits.Contact*float64(room-c.Inlet.Temperature))
}

// severity grades the condition as far as it is known now.
func (w *wetness) severity(c *frame.Compressor) Severity {
	// A line that stays near dew carries droplets, whatever the discharge shows:
	// the least liquid that counts lowers the discharge by a kelvin or so, which
	// cannot be told from dry gas.
	l := w.limits
	major := l.MajorLiquid.Of(c.Kind)
	stuck := int64(float64(l.StuckFor) * major / referenceLiquid)
	dry := w.liquid.atMost() < l.MinorLiquid
	unknown := math.IsNaN(w.liquid.liquid)
	switch {
	case w.flooded >= int64(l.MajorHold), w.wetOil >= int64(l.SumpHold) && !dry, w.atDew >= stuck && unknown:
		return Major
	case w.damp >= int64(l.MinorHold), w.nearDew >= int64(l.NearHold):
		return Minor
	}
	return Risk
}

// grounds returns what the present grade stands on.
func (w *wetness) grounds() []evidence.Item {
	var items []evidence.Item
	if w.atDew > 0 {
		items = append(items, evidence.New(evidence.LineAtDew, evidence.Duration("at_dew", time.Duration(w.atDew))))
	}
	l := &w.liquid
	shows := l.atLeast() > w.limits.MinorLiquid/2
	share := evidence.Share("liquid", l.liquid)
	switch {
	case shows && l.full:
		items = append(items, evidence.New(evidence.DischargeAtCondensing, share))
	case shows:
		items = append(items, evidence.New(evidence.DischargeShortfall,
			evidence.Difference("shortfall", units.Kelvin(l.fell)), share, evidence.Share("uncertainty", l.uncertainty)))
	case !l.hot.Known():
		items = append(items, evidence.New(evidence.NoDischargeTemperature))
	case !l.machine.known():
		items = append(items, evidence.New(evidence.MachineNotLearned))
	}
	if w.wetOil > 0 && !math.IsNaN(w.oilLow) {
		items = append(items, evidence.New(evidence.WetOil,
			evidence.Difference("smoothed_sump_over_dew", units.Kelvin(w.oilLow)), evidence.Rate("sump_fall", w.oilFall)))
	}
	return items
}
