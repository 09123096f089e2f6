package floodback

import (
	"time"

	"dewgap/analyze/units"
)

// Settings of the detectors for one group. Zero fields take the values of
// DefaultSettings, where each has its source. What differs between low and
// medium temperature follows from the quantities themselves: a wet line reads
// the higher the colder it is (Contact), and a superheat is the less certain
// (Moment.Uncertainty); so one set of numbers serves both.
type Settings struct {
	Floor       ByPhase[units.Kelvin]
	Hold        ByPhase[time.Duration] // how long the margin must stay below zero before an event opens
	ClearMargin units.Kelvin           // an event closes when the margin stays above this
	ClearHold   time.Duration          // … for this long
	NoDataHold  time.Duration          // how long an input must be silent to be reported
	FaultHold   time.Duration          // how long an input must be doubtful to be reported

	Wet     WetLimits
	Oil     OilLimits
	Hunting HuntingLimits
	High    HighLimits
}

// WetLimits grade a floodback: risk, minor, major.
type WetLimits struct {
	MinorLiquid float64 // share of liquid by mass at the inlet that is more than damp gas
	MajorLiquid ByKind[float64]
	MinorHold   time.Duration // how long the discharge must show it
	MajorHold   time.Duration
	// Edge and Contact say what a line full of wet gas may read above dew: the
	// greater of Edge and Contact × (room − pipe) plus half of Edge.
	Edge    units.Kelvin
	Contact float64
	// NearDew above that, droplets ride along in gas that is a little warmer.
	NearDew  units.Kelvin
	NearHold time.Duration // … for this long
	StuckFor time.Duration // a line at dew for this long for each 5 % of MajorLiquid is major where the discharge tells nothing
	SumpNear units.Kelvin  // oil within this of dew, the line being wet: liquid is in it
	SumpFall units.Kelvin  // … or falling by this in a minute
	SumpHold time.Duration
}

// OilLimits tell a flooded start.
type OilLimits struct {
	Safe     units.Kelvin  // oil over standing dew: above it no refrigerant goes there
	Cooling  time.Duration // standing less than that …
	Cooled   units.Kelvin  // … and having come to this is enough by itself
	Cold     units.Kelvin  // oil over standing dew: as cold as the dew within the sensors' doubt
	Cool     units.Kelvin  // … hardly warmer
	Standing time.Duration
	Long     time.Duration // standing cold for this long is enough by itself
	Boiling  units.Kelvin  // oil over running dew: refrigerant boils out of it
	Fall     units.Kelvin  // what the oil falls as it foams
}

// HuntingLimits tell a hunt from other swings.
type HuntingLimits struct {
	Swing             units.Kelvin // peak to peak
	Cycles            int
	Shortest, Longest time.Duration
	Uneven            float64 // greatest coefficient of variation of the periods
	Samples           int     // readings in a period, at least; fewer cannot tell
}

// HighLimits tell the way to overheating.
type HighLimits struct {
	Superheat     units.Kelvin
	SuperheatHold time.Duration
	Discharge     units.Celsius
	DischargeHold time.Duration
	Critical      units.Kelvin // above Discharge
	// HotSuperheat is the superheat below which a hot discharge has another
	// reason: pressure ratio, valves.
	HotSuperheat units.Kelvin
}

// DefaultSettings returns the settings for a group of which nothing is told.
// "Trade notes" are the project's shared notes of the trade, by section.
func DefaultSettings() Settings {
	return Settings{
		Floor:       ByPhase[units.Kelvin]{Steady: 11, Pulldown: 8},                               // contract, section 2
		Hold:        ByPhase[time.Duration]{Steady: 60 * time.Second, Pulldown: 30 * time.Second}, // contract, section 2
		ClearMargin: 2,                                                                            // contract, section 2
		ClearHold:   120 * time.Second,                                                            // contract, section 2
		NoDataHold:  2 * time.Minute,                                                              // common practice: a restart of a gateway is no event
		FaultHold:   time.Minute,                                                                  // common practice
		Wet: WetLimits{
			MinorLiquid: 0.005, // common practice, no source
			MajorLiquid: ByKind[float64]{ // common practice, no source; the order follows trade notes §5
				Scroll:                        0.05,
				AirCooledSemiHermetic:         0.03, // straight into the cylinders
				RefrigerantCooledSemiHermetic: 0.06, // the motor boils some
			},
			MinorHold: 15 * time.Second, // common practice: longer than a reading or two
			MajorHold: 25 * time.Second, // common practice
			Edge:      1.2,              // common practice: sensor and dew line, without the clamp
			Contact:   0.035,            // trade notes §13: insulated clip 0.02–0.05
			NearDew:   2.5,              // common practice
			NearHold:  20 * time.Second, // common practice: trade notes §6 call half a minute at dew minor
			StuckFor:  75 * time.Second, // common practice: trade notes §6 call half a minute at 0 K minor
			SumpNear:  10,               // trade notes §8
			SumpFall:  2,                // trade notes §8 begin to look at 1 K/min
			SumpHold:  time.Minute,      // common practice
		},
		Oil: OilLimits{
			Cold: 2, Cool: 6, Safe: 10, Cooled: 8, // trade notes §12: within 5 K of the standing dew is migration
			Standing: 5 * time.Minute,  // common practice
			Long:     20 * time.Minute, // common practice
			Cooling:  30 * time.Minute, // common practice: trade notes §12 ask for a heater at less than 10 K for an hour
			Boiling:  8,                // common practice
			Fall:     4,                // common practice
		},
		Hunting: HuntingLimits{ // trade notes §11
			Swing: 2, Cycles: 4, Shortest: 20 * time.Second, Longest: 10 * time.Minute, Uneven: 0.3, Samples: 6,
		},
		High: HighLimits{
			Superheat:     30,               // a scroll guideline's upper limit, trade notes §7
			SuperheatHold: 20 * time.Minute, // trade notes §10: longer than a starved pulldown is
			Discharge:     107,              // 225 °F at the line, trade notes §6
			DischargeHold: 10 * time.Minute, // common practice
			Critical:      15,               // the oil film goes at 157 °C in the valve, 42 K above the line: trade notes §6
			HotSuperheat:  25,               // usual readings end there, trade notes §7
		},
	}
}

// WithDefaults returns s with its zero fields filled in. A clear margin of
// zero is a margin: it is filled in only where nothing of clear is set.
func (s Settings) WithDefaults() Settings {
	d := DefaultSettings()
	if s.ClearMargin == 0 && s.ClearHold == 0 {
		s.ClearMargin = d.ClearMargin
	}
	if s.Floor.Pulldown == 0 && s.Floor.Steady != 0 {
		s.Floor.Pulldown = min(d.Floor.Pulldown, s.Floor.Steady)
	}
	fill(&s.Floor.Steady, d.Floor.Steady)
	fill(&s.Floor.Pulldown, d.Floor.Pulldown)
	fill(&s.Hold.Steady, d.Hold.Steady)
	fill(&s.Hold.Pulldown, d.Hold.Pulldown)
	fill(&s.ClearHold, d.ClearHold)
	fill(&s.NoDataHold, d.NoDataHold)
	fill(&s.FaultHold, d.FaultHold)
	s.Wet.fill(d.Wet)
	s.Oil.fill(d.Oil)
	s.Hunting.fill(d.Hunting)
	s.High.fill(d.High)
	return s
}

func fill[T ~int | ~int64 | ~float64](x *T, v T) {
	if *x <= 0 {
		*x = v
	}
}

func (w *WetLimits) fill(d WetLimits) {
	fill(&w.MinorLiquid, d.MinorLiquid)
	fill(&w.MajorLiquid.Scroll, d.MajorLiquid.Scroll)
	fill(&w.MajorLiquid.AirCooledSemiHermetic, d.MajorLiquid.AirCooledSemiHermetic)
	fill(&w.MajorLiquid.RefrigerantCooledSemiHermetic, d.MajorLiquid.RefrigerantCooledSemiHermetic)
	fill(&w.MinorHold, d.MinorHold)
	fill(&w.MajorHold, d.MajorHold)
	fill(&w.Edge, d.Edge)
	fill(&w.Contact, d.Contact)
	fill(&w.NearDew, d.NearDew)
	fill(&w.NearHold, d.NearHold)
	fill(&w.StuckFor, d.StuckFor)
	fill(&w.SumpNear, d.SumpNear)
	fill(&w.SumpFall, d.SumpFall)
	fill(&w.SumpHold, d.SumpHold)
}

func (o *OilLimits) fill(d OilLimits) {
	fill(&o.Cold, d.Cold)
	fill(&o.Cool, d.Cool)
	fill(&o.Safe, d.Safe)
	fill(&o.Cooled, d.Cooled)
	fill(&o.Cooling, d.Cooling)
	fill(&o.Standing, d.Standing)
	fill(&o.Long, d.Long)
	fill(&o.Boiling, d.Boiling)
	fill(&o.Fall, d.Fall)
}

func (h *HuntingLimits) fill(d HuntingLimits) {
	fill(&h.Swing, d.Swing)
	fill(&h.Cycles, d.Cycles)
	fill(&h.Shortest, d.Shortest)
	fill(&h.Longest, d.Longest)
	fill(&h.Uneven, d.Uneven)
	fill(&h.Samples, d.Samples)
}

func (h *HighLimits) fill(d HighLimits) {
	fill(&h.Superheat, d.Superheat)
	fill(&h.SuperheatHold, d.SuperheatHold)
	fill(&h.Discharge, d.Discharge)
	fill(&h.DischargeHold, d.DischargeHold)
	fill(&h.Critical, d.Critical)
	fill(&h.HotSuperheat, d.HotSuperheat)
}
