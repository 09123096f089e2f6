package cause

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
)

// degrees holds how plain each feature is, 0 to 1.
type degrees [featureCount]float64

// degrees returns how plain each feature is. Each filter.LinearStep goes from
// the value that is no evidence to the value that is plain. The values are
// common practice put into figures, no source.
func (f *features) degrees() (d degrees) {
	d[always] = 1
	f.timeDegrees(&d)
	f.outletDegrees(&d)
	f.swingDegrees(&d)
	f.defrostDegrees(&d)
	f.airDegrees(&d)
	f.groupDegrees(&d)
	return d
}

// degreeOf returns 1 where b holds, else 0.
func degreeOf(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// timeDegrees fills in when the floodback began and how long it lasts.
func (f *features) timeDegrees(d *degrees) {
	soonAfter := func(seconds float64) float64 { return filter.LinearStep(seconds, 24*60, 12*60) }
	fell := f.minuteAgo - f.superheat
	d[lasting] = filter.LinearStep(f.lasted, 400, 800)
	d[brief] = 1 - d[lasting]
	d[suddenFall] = filter.LinearStep(fell, 4, 8) * filter.LinearStep(f.lasted, 180, 90)
	d[recursWithoutRestart] = filter.LinearStep(float64(f.recurs), 0.5, 3)

	d[afterDefrost] = soonAfter(f.ago)
	d[atRestart] = filter.LinearStep(f.ago, 130, 70)
	other := soonAfter(f.otherAgo)
	d[otherCircuitDefrosted] = max(other-d[afterDefrost], 0)
	d[noDefrost] = 1 - max(d[afterDefrost], other)
	if f.blind {
		d[defrostUnseen] = d[noDefrost] * filter.LinearStep(f.lasted, 800, 400) * filter.LinearStep(fell, 1, 4)
		d[noDefrost] -= d[defrostUnseen]
	}
	switch f.kind {
	case frame.HotGas:
		d[hotGasEnded] = filter.LinearStep(f.ago, 260, 160)
	case frame.DefrostUnset: // it may be hot gas
		d[hotGasEnded] = 0.6 * filter.LinearStep(f.ago, 120, 75)
	}
	d[hotGasOn] = filter.LinearStep(f.hotGasOn, 30, 90)
	d[noDefrost] *= 1 - d[hotGasOn]
	d[atOwnStart] = degreeOf(f.circuits == 1) * filter.LinearStep(f.ran, 360, 180) * filter.LinearStep(float64(f.starts), 0.5, 2)
	if f.blind && f.kind == frame.HotGas {
		d[hotGasUnseen] = d[brief] * (1 - d[hotGasEnded])
	}
}

// outletDegrees fills in how low the outlet is, now and before.
func (f *features) outletDegrees(d *degrees) {
	d[outletNotMeasured] = degreeOf(!f.outlet)
	d[outletLow] = filter.LinearStep((f.normal-f.low)/f.normal, 0.2, 0.6)
	d[outletLowAndStill] = d[outletLow] * filter.LinearStep(f.swing, 1, 0.3)
	d[outletStaysAtDew] = filter.LinearStep(f.high/f.normal, 0.4, 0.2)
	d[outletUsuallyLow] = filter.LinearStep(f.mostlyLow, 0.3, 0.7)
	d[outletUsuallyNormal] = filter.LinearStep(f.mostlyLow, 0.25, 0.05)
	d[outletFellAtOnce] = filter.LinearStep(f.sank, 0.12, 0.06)
	d[outletSankSlowly] = filter.LinearStep(f.sank, 0.08, 0.2)
	if math.IsNaN(f.sank) { // it was not seen to come down
		d[onlyOutletUsuallyLow] = degreeOf(f.circuits == 1) * d[outletUsuallyLow]
	}
}

// swingDegrees fills in what swings.
func (f *features) swingDegrees(d *degrees) {
	usual := f.otherSwings
	if math.IsNaN(usual) {
		usual = 0.3 // K, the noise of a quiet outlet
	}
	d[outletSwings] = filter.LinearStep(f.swing-1.2*usual, 0.2, 1.2)
	d[compressorSuperheatSwings] = degreeOf(f.hunts)
}

// defrostDegrees fills in how the last defrost went and what defrosts do.
func (f *features) defrostDegrees(d *degrees) {
	const gapHelped = 0.7 // K; air above dew that comes down by less was not helped
	d[coldDefrost] = defrostColdness(f.kind, f.peak, f.defrosts > 0)
	if f.kind != frame.OffCycle { // its length is a clock's
		d[longDefrost] = max(filter.LinearStep(f.length/f.lengths, 1.2, 1.6), filter.LinearStep(f.plateau-f.plateaus, 300, 900))
	}
	d[shortDefrost] = muchShorter(f.length / f.theirs)
	if f.kind != frame.OffCycle {
		d[longerThanNeighbours] = muchLonger(f.length / f.theirs)
	}
	if f.defrosts > 0 && !math.IsNaN(f.peak) {
		d[completeDefrost] = 1 - max(d[coldDefrost], d[longDefrost], d[shortDefrost], d[longerThanNeighbours])
	}
	relief := f.relief / f.normal
	d[defrostsHelp] = max(filter.LinearStep(relief, 0.15, 0.4), filter.LinearStep(f.gapRelief, gapHelped, 2))
	if !(f.gapRelief >= gapHelped) { // NaN: the air is not known
		d[defrostsDoNotHelp] = d[outletLow] * filter.LinearStep(relief, 0.15, 0) * filter.LinearStep(f.mostlyLow, 0.2, 0.5)
	}
}

// muchShorter and muchLonger tell a defrost's length, as a ratio to its
// neighbours', from what coils of one store differ by.
func muchShorter(ratio float64) float64 { return filter.LinearStep(ratio, 0.6, 0.35) }
func muchLonger(ratio float64) float64  { return filter.LinearStep(ratio, 1.6, 2.2) }

// airDegrees fills in how the air is above dew, and how that came.
func (f *features) airDegrees(d *degrees) {
	d[airNotMeasured] = degreeOf(!f.air)
	d[coldAir] = filter.LinearStep(f.airOver, -0.7, -2)
	d[warmAir] = filter.LinearStep(f.gapOver, 1, 3.5)
	d[veryWarmAir] = filter.LinearStep(f.gapOver, 3.5, 7)
	d[warmAirAfterGoodDefrost] = d[warmAir] * degreeOf(f.survived)
	lost := d[warmAir]
	if !f.air { // the depth of suction stands for it
		lost = filter.LinearStep(f.leap, 1, 3) * filter.LinearStep(f.dewOver, 2, 0)
	}
	d[loadLostAtOnce] = lost * filter.LinearStep(f.leap, 1, 2) * filter.LinearStep(f.leapShare, 0.42, 0.6)
	d[loadLostSlowly] = lost * max(filter.LinearStep(f.leapShare, 0.5, 0.36), filter.LinearStep(f.leap/f.gapOver, 0.3, 0.15))
}

// groupDegrees fills in what the rest of the group shows.
func (f *features) groupDegrees(d *degrees) {
	nearDew := filter.LinearStep(f.superheat, 4.5, 2)
	if f.outlet {
		d[outletDry] = nearDew * filter.LinearStep(f.low/f.normal, 0.65, 0.85) * filter.LinearStep(f.low-f.superheat, 0.5, 2.5)
	}
	d[onlyCircuit] = degreeOf(f.circuits == 1)
	d[allCoilsDry] = nearDew * filter.LinearStep(f.wettest, 0.5, 0.3) * filter.LinearStep(f.driest-f.superheat, 0.5, 2.5)
	if f.measured > 1 {
		d[mostCoilsLow] = filter.LinearStep(float64(f.wetCoils)/float64(f.measured), 0.4, 0.8)
	}
	d[flatNearDew] = nearDew * filter.LinearStep(f.spread, 1.5, 0.7) * filter.LinearStep(f.lasted, 120, 240)
	d[feedsWhileStopped] = filter.LinearStep(f.offRise, 8, 16)
	d[onlyCircuitFeeds] = d[onlyCircuit] * filter.LinearStep(f.offRise, 3, 7)
	if !f.lateStop {
		d[onlyCircuitShuts] = d[onlyCircuit] * filter.LinearStep(f.offRise, 7, 3)
	}
	d[lowSuction] = filter.LinearStep(f.dewOver, -0.7, -2.5)
	d[fewCompressorsRun] = filter.LinearStep(f.drawOver, -0.1, -0.3)
	d[manyCompressorsRun] = filter.LinearStep(f.drawOver, 0.1, 0.3)
	d[highCondensing] = filter.LinearStep(f.headOver, 2, 6)
	d[dryDischarge] = filter.LinearStep(f.liquid, 0.004, 0.001) * filter.LinearStep(f.superheat, 2.5, 0.5) * filter.LinearStep(f.lasted, 120, 240)
	d[otherCompressorsDry] = nearDew * filter.LinearStep(f.twins, 6, 10)
}
