package cause

import (
	"math"
	"strings"

	"dewgap/analyze/phase"
)

// sign is one named piece of evidence, 0 (absent or not known) to 1 (plain).
type sign int

const (
	afterDefrost   sign = iota // the circuit went back to refrigeration within the last quarter of an hour
	atRestart                  // … and it began with that, not minutes later
	noDefrost                  // no circuit did
	otherDefrosted             // another circuit did, this one not
	hotGasEnded                // hot gas, and the floodback began within three minutes of that moment
	sudden                     // the compressor's superheat fell within a minute
	feedsOff                   // suction pressure jumps up when nothing draws
	lone                       // the group has one circuit
	coilLow                    // the outlet came down towards dew
	coilsDry                   // every fed coil is measured and none is low, while the compressor is near dew
	manyLow                    // most coils are low at once
	alwaysLow                  // the outlet was low for most of the day before
	loneLow                    // … and there is one circuit
	usuallyFine                // … or was plainly normal
	fellAtOnce                 // the outlet was as ever until it came down
	crept                      // … or had been sinking for an hour
	relieved                   // defrosts raise it again
	unrelieved                 // … or do not
	swings                     // the outlet swings by itself, more than its neighbours
	inletSwings                // the compressor's superheat oscillates
	still                      // the outlet is low and does not swing
	lasts                      // the floodback goes on for more than ten minutes
	brief                      // … or is shorter than that so far
	flat                       // near dew without moving
	coldMelt                   // the last defrost did not get warm
	longMelt                   // … took much longer than usual
	goodMelt                   // … got warm in its usual time
	warmAir                    // the air stands further over dew than with a clean coil
	stepped                    // the load of the coil went at once: air and suction came apart within minutes
	slipped                    // … or over hours
	airHot                     // … by more than a dirty coil explains
	airUncured                 // … and a good defrost has not helped
	recurs                     // it comes back, and no restart is near
	unseen                     // a defrost may have ended shortly before: nothing tells
	pinned                     // the outlet stays at dew for minutes
	hotGasUnseen               // a hot-gas defrost may have ended: nothing tells
	coldAir                    // the air is colder than usual: the coil gets plenty
	dewLow                     // suction dew is below its usual
	loadLow                    // fewer compressors run than usual
	loadHigh                   // … or more
	headHigh                   // condensing dew is above its usual
	dischargeDry               // the discharge temperature shows dry gas while the line reads dew
	twinsDry                   // the other compressors are far from dew
	noOutlet                   // the outlet is not measured
	noAir                      // the air is not measured
	always                     // 1
	signCount
)

var signWords = [signCount]string{
	afterDefrost:   "it began soon after a defrost of this circuit",
	atRestart:      "it began with the restart, not minutes later",
	noDefrost:      "no defrost came before it",
	otherDefrosted: "it began after another circuit's defrost",
	hotGasEnded:    "it began as the hot-gas defrost ended",
	sudden:         "the superheat fell within a minute",
	feedsOff:       "suction pressure jumps up as soon as the compressor stops",
	lone:           "there is one circuit",
	coilLow:        "the coil's outlet comes down to dew",
	coilsDry:       "every coil outlet is dry while the compressor's line is at dew",
	manyLow:        "most coils are low at once",
	alwaysLow:      "the outlet was low for most of the time before, too (a day at most)",
	loneLow:        "the one outlet was low for most of the time before",
	usuallyFine:    "the outlet is normal otherwise",
	fellAtOnce:     "the outlet came down at once",
	crept:          "the outlet had been sinking before it came down",
	relieved:       "defrosts help for a while",
	unrelieved:     "defrosts do not help",
	swings:         "the outlet swings by itself",
	inletSwings:    "the superheat at the compressor swings",
	still:          "the outlet is low without swinging",
	lasts:          "it lasts",
	brief:          "it is short",
	flat:           "the superheat stays flat near dew",
	coldMelt:       "the last defrost did not get warm",
	longMelt:       "the last defrost took longer than usual",
	goodMelt:       "the last defrost was complete",
	warmAir:        "the air stands further over dew than with a clean coil",
	stepped:        "the coil lost its load within minutes",
	slipped:        "the coil lost its load over hours",
	recurs:         "it comes back with no restart near",
	unseen:         "a defrost may have ended; nothing tells",
	pinned:         "the outlet stays at dew",
	hotGasUnseen:   "a hot-gas defrost may have ended; nothing tells",
	airHot:         "it stands very far over dew",
	airUncured:     "a good defrost has not helped",
	coldAir:        "the air is colder than usual",
	loadLow:        "fewer compressors run than usual",
	loadHigh:       "more compressors run than usual",
	dewLow:         "suction pressure is lower than usual",
	headHigh:       "condensing pressure is higher than usual",
	dischargeDry:   "the discharge temperature shows dry gas",
	noOutlet:       "the coil's outlet is not measured",
	noAir:          "the air is not measured",
	twinsDry:       "the other compressors on the same header are dry",
}

// instead names what stands for an outlet that is not measured.
var instead = strings.NewReplacer("the coil's outlet", "the superheat at the compressor", "the outlet", "the superheat at the compressor")

// words says a sign; outlet tells whether the circuit's outlet is measured.
func words(s sign, outlet bool) string {
	if outlet || s == noOutlet {
		return signWords[s]
	}
	return instead.Replace(signWords[s])
}

func yes(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// read returns the signs of a view.
func read(v *view) (s [signCount]float64) {
	const quarter = 15 * 60.0 // s
	s[always] = 1
	s[afterDefrost] = ramp(v.ago, quarter*1.6, quarter*0.8)
	s[atRestart] = ramp(v.ago, 130, 70)
	other := ramp(v.otherAgo, quarter*1.6, quarter*0.8)
	s[noDefrost] = 1 - max(s[afterDefrost], other)
	if v.blind {
		s[unseen] = s[noDefrost] * ramp(v.lasted, 800, 400) * ramp(v.minuteAgo-v.superheat, 1, 4)
		s[noDefrost] -= s[unseen]
	}
	s[otherDefrosted] = max(other-s[afterDefrost], 0)
	switch v.kind {
	case phase.HotGas:
		s[hotGasEnded] = ramp(v.ago, 260, 160)
	case phase.DefrostUnset:
		s[hotGasEnded] = 0.6 * ramp(v.ago, 120, 75)
	}
	s[sudden] = ramp(v.minuteAgo-v.superheat, 4, 8) * ramp(v.lasted, 180, 90)
	s[feedsOff] = ramp(v.offRise, 8, 16)
	s[lone] = yes(v.circuits == 1)

	low := (v.normal - v.low) / v.normal
	s[coilLow] = ramp(low, 0.2, 0.6)
	s[noOutlet] = yes(!v.outlet)
	nearDew := ramp(v.superheat, 4.5, 2)
	s[coilsDry] = ramp(v.wettest, 0.5, 0.3) * nearDew * ramp(v.driest-v.superheat, 0.5, 2.5)
	if v.measured > 1 {
		s[manyLow] = ramp(float64(v.wetCoils)/float64(v.measured), 0.4, 0.8)
	}
	s[alwaysLow] = ramp(v.mostlyLow, 0.3, 0.7)
	s[loneLow] = s[lone] * s[alwaysLow]
	if !math.IsNaN(v.sank) { // it was seen to come down
		s[loneLow] = 0
	}
	s[usuallyFine] = ramp(v.mostlyLow, 0.25, 0.05)

	s[fellAtOnce] = ramp(v.sank, 0.12, 0.06)
	s[crept] = ramp(v.sank, 0.08, 0.2)
	s[relieved] = max(ramp(v.relief/v.normal, 0.15, 0.4), ramp(v.gapRelief, 0.7, 2))
	if !math.IsNaN(v.relief) && (math.IsNaN(v.gapRelief) || v.gapRelief < 0.7) {
		s[unrelieved] = s[coilLow] * ramp(v.relief/v.normal, 0.15, 0) * ramp(v.mostlyLow, 0.2, 0.5)
	}
	base := v.otherSwings
	if math.IsNaN(base) {
		base = 0.3
	}
	s[swings] = ramp(v.swing-1.2*base, 0.2, 1.2)
	s[inletSwings] = yes(v.hunts)
	s[still] = s[coilLow] * ramp(v.swing, 1, 0.3)
	s[lasts] = ramp(v.lasted, 400, 800)
	s[brief] = 1 - s[lasts]
	s[flat] = nearDew * ramp(v.spread, 1.5, 0.7) * ramp(v.lasted, 120, 240)

	s[coldMelt] = coldDefrost(v.kind, v.peak, int64(v.defrosts))
	if v.kind != phase.OffCycle {
		s[longMelt] = ramp(v.length/v.lengths, 1.2, 1.6)
		s[longMelt] = max(s[longMelt], ramp(v.plateau-v.plateaus, 300, 900))
	}
	if v.defrosts > 0 && !math.IsNaN(v.peak) {
		s[goodMelt] = 1 - max(s[coldMelt], s[longMelt])
	}
	s[warmAir] = ramp(v.gapOver, 1, 3.5)
	s[airHot] = ramp(v.gapOver, 3.5, 7)
	far := s[warmAir]
	if !v.air {
		far = ramp(v.leap, 1, 3)
	}
	s[stepped] = far * ramp(v.leap, 1, 2) * ramp(v.leapShare, 0.42, 0.6)
	s[slipped] = far * max(ramp(v.leapShare, 0.5, 0.36), ramp(v.leap/v.gapOver, 0.3, 0.15))
	s[airUncured] = s[warmAir] * yes(v.survived)
	s[noAir] = yes(!v.air)
	s[recurs] = ramp(float64(v.recurs), 0.5, 3)
	if v.blind && v.kind == phase.HotGas {
		s[hotGasUnseen] = s[brief] * (1 - s[hotGasEnded])
	}
	s[pinned] = ramp(v.high, 0.4*v.normal, 0.2*v.normal)
	s[coldAir] = ramp(v.airOver, -0.7, -2)
	s[dewLow] = ramp(v.dewOver, -0.7, -2.5)
	s[loadLow] = ramp(v.drawOver, -0.1, -0.3)
	s[loadHigh] = ramp(v.drawOver, 0.1, 0.3)
	s[headHigh] = ramp(v.headOver, 2, 6)
	s[dischargeDry] = ramp(v.liquid, 0.004, 0.001) * ramp(v.superheat, 2.5, 0.5) * ramp(v.lasted, 120, 240)
	s[twinsDry] = ramp(v.twins, 6, 10) * nearDew
	return s
}
