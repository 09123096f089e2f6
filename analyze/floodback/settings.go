package floodback

import (
	"time"

	"dewgap/analyze/setting"
	"dewgap/analyze/units"
)

// Settings of the detectors for one group. Zero fields take the defaults of
// Rows, where each has its source. What differs between low and
// medium temperature follows from the quantities themselves: a wet line reads
// the higher the colder it is (Contact); so one set of numbers serves both.
type Settings struct {
	Floor       ByPhase[units.Kelvin]
	Hold        ByPhase[time.Duration] // how long the margin must stay below zero before an event opens
	ClearMargin units.Kelvin           // an event closes when the margin stays above this
	ClearHold   time.Duration          // how long it must stay above ClearMargin
	NoDataHold  time.Duration          // how long an input must be silent to be reported
	FaultHold   time.Duration          // how long an input must be suspect to be reported

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
	// Edge and Contact give what a line full of wet gas may read above dew: the
	// greater of Edge and Contact × (room − pipe) plus half of Edge.
	Edge    units.Kelvin
	Contact float64
	// NearDew above that, droplets ride along in gas that is a little warmer.
	NearDew  units.Kelvin
	NearHold time.Duration // how long that makes it minor
	StuckFor time.Duration // a line at dew for this long for each 5 % of MajorLiquid is major where the discharge shows nothing
	SumpNear units.Kelvin  // oil within this of dew, the line being wet: liquid is in it
	SumpFall units.Kelvin  // oil falling by this in a minute, the line being wet: likewise
	SumpHold time.Duration // how long the oil must show it
}

// OilLimits define a flooded start.
type OilLimits struct {
	Safe     units.Kelvin  // oil over standing dew: above it no refrigerant goes there
	Cooling  time.Duration // standing below Safe for this long, and below Cooled at the end, is enough by itself
	Cooled   units.Kelvin  // oil over standing dew
	Cold     units.Kelvin  // oil over standing dew: below it as cold as the dew within the sensors' uncertainty
	Cool     units.Kelvin  // oil over standing dew: below it hardly warmer than the dew
	Standing time.Duration // standing cold or cool for less counts nothing
	Long     time.Duration // standing cold for this long is enough by itself
	Boiling  units.Kelvin  // oil over running dew: refrigerant boils out of it
	Fall     units.Kelvin  // what the oil falls as it foams
}

// HuntingLimits separate a hunt from other swings.
type HuntingLimits struct {
	Swing             units.Kelvin // peak to peak
	Cycles            int
	Shortest, Longest time.Duration
	Uneven            float64 // greatest coefficient of variation of the periods
	Samples           int     // readings in a period, at least; with fewer nothing is known
}

// HighLimits define the way to overheating.
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

const practice = "common practice, no source"

// Limits of the keys that several rows share. Beyond them lies a typing error.
const (
	minFloor      units.Kelvin = 0.1
	maxFloor      units.Kelvin = 60
	maxHold                    = time.Hour
	minDifference units.Kelvin = 0.1
	maxDifference units.Kelvin = 30
	minLiquid                  = 0.001
	maxLiquid                  = 0.5
	maxLongHold                = 24 * time.Hour
)

// Rows are all settings with their keys below a suction group, defaults, limits
// and sources.
func Rows() []setting.Row[Settings] { return rows }

var rows = []setting.Row[Settings]{
	{
		Key: "floor.steady", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.Floor.Steady }, 11, minFloor, maxFloor),
		Meaning: "Lowest superheat at the compressor inlet that is allowed in steady running.", Example: `"11 K"`,
		Usual: "8 to 11 K (15 to 20 F) are in use", Source: "compressor makers' guidance of 20 °F, from memory",
	},
	{
		Key: "floor.pulldown", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.Floor.Pulldown }, 8, minFloor, maxFloor),
		Meaning: "Lowest superheat that is allowed in the pulldown after a defrost.", Example: `"8 K"`,
		Usual: "8 to 11 K (15 to 20 F) are in use", Source: practice,
	},
	{
		Key: "hold.steady", Field: setting.Within(func(s *Settings) *time.Duration { return &s.Hold.Steady }, 60*time.Second, 0, maxHold),
		Meaning: "How long the margin must stay below zero in steady running before an event opens.", Example: `"60 s"`, Source: practice,
	},
	{
		Key: "hold.pulldown", Field: setting.Within(func(s *Settings) *time.Duration { return &s.Hold.Pulldown }, 30*time.Second, 0, maxHold),
		Meaning: "How long the margin must stay below zero in a pulldown before an event opens.", Example: `"30 s"`, Source: practice,
	},
	{
		Key: "clear.margin", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.ClearMargin }, 2, 0, 30),
		Meaning: "An event closes when the superheat stays this far above the floor.", Example: `"2 K"`, Source: practice,
	},
	{
		Key: "clear.hold", Field: setting.Within(func(s *Settings) *time.Duration { return &s.ClearHold }, 120*time.Second, 0, maxHold),
		Meaning: "How long the superheat must stay above the clear margin before the event closes.", Example: `"120 s"`, Source: practice,
	},
	{
		Key: "detect.minor_liquid", Field: setting.Within(func(s *Settings) *float64 { return &s.Wet.MinorLiquid }, 0.005, minLiquid, maxLiquid),
		Meaning: "Liquid by mass at the inlet from which a floodback is minor, as the discharge shows it.", Example: `"0.5 %"`, Source: practice,
	},
	{
		Key: "detect.major_liquid.scroll", Field: setting.Within(func(s *Settings) *float64 { return &s.Wet.MajorLiquid.Scroll }, 0.05, minLiquid, maxLiquid),
		Meaning: "Liquid by mass from which a floodback is major for a scroll.", Example: `"5 %"`, Source: practice,
	},
	{
		Key: "detect.major_liquid.air_cooled_semi_hermetic", Field: setting.Within(func(s *Settings) *float64 { return &s.Wet.MajorLiquid.AirCooledSemiHermetic }, 0.03, minLiquid, maxLiquid),
		Meaning: "Liquid by mass from which a floodback is major for an air-cooled semi-hermetic, whose gas goes straight into the cylinders.", Example: `"3 %"`, Source: practice,
	},
	{
		Key: "detect.major_liquid.refrigerant_cooled_semi_hermetic", Field: setting.Within(func(s *Settings) *float64 { return &s.Wet.MajorLiquid.RefrigerantCooledSemiHermetic }, 0.06, minLiquid, maxLiquid),
		Meaning: "Liquid by mass from which a floodback is major for a refrigerant-cooled semi-hermetic, whose motor boils some of it.", Example: `"6 %"`, Source: practice,
	},
	{Key: "minor_hold", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Wet.MinorHold }, 15*time.Second), Meaning: "How long the discharge must show minor liquid.", Source: practice},
	{Key: "major_hold", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Wet.MajorHold }, 25*time.Second), Meaning: "How long the discharge must show major liquid.", Source: practice},
	{
		Key: "detect.wet_edge", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.Wet.Edge }, 1.2, minDifference, 10),
		Meaning: "Up to this superheat a line may be full of wet gas, as sensors and dew line allow.", Example: `"1.2 K"`, Source: practice,
	},
	{
		Key: "detect.contact", Field: setting.Within(func(s *Settings) *float64 { return &s.Wet.Contact }, 0.035, minLiquid, maxLiquid),
		Meaning: "Share of the difference between ambient air and pipe by which a clamp-on sensor reads too warm.", Example: `"3.5 %"`,
		Source: "insulated clamp-on sensors: 2 to 5 %, from memory",
	},
	{
		Key: "detect.near_dew", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.Wet.NearDew }, 2.5, minDifference, maxDifference),
		Meaning: "This far above what a wet line reads, droplets may still ride along in the gas.", Example: `"2.5 K"`, Source: practice,
	},
	{Key: "near_hold", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Wet.NearHold }, 20*time.Second), Meaning: "How long the line must read near dew.", Source: practice},
	{Key: "stuck_for", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Wet.StuckFor }, 75*time.Second), Meaning: "How long a line at dew is major where the discharge shows nothing, for each 5 % of major liquid.", Source: practice},
	{
		Key: "detect.oil_near_dew", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.Wet.SumpNear }, 10, minDifference, maxDifference),
		Meaning: "Running with a wet line: oil within this of suction dew has liquid in it.", Example: `"10 K"`,
		Source: "compressor makers' guidance of 10 K, from memory",
	},
	{
		Key: "detect.oil_fall", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.Wet.SumpFall }, 2, minDifference, maxDifference),
		Meaning: "Running with a wet line: oil that falls by this in a minute has liquid in it.", Example: `"2 K"`, Source: practice,
	},
	{Key: "oil_hold", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Wet.SumpHold }, time.Minute), Meaning: "How long the oil must show liquid.", Source: practice},
	{
		Key: "detect.oil_cold", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.Oil.Cold }, 2, minDifference, maxDifference),
		Meaning: "Standing: oil within this of the standing dew is as cold as the dew.", Example: `"2 K"`, Source: practice,
	},
	{
		Key: "detect.oil_cool", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.Oil.Cool }, 6, minDifference, maxDifference),
		Meaning: "Standing: oil within this of the standing dew is hardly warmer than the dew.", Example: `"6 K"`, Source: practice,
	},
	{Key: "oil_safe", Field: setting.Fixed(func(s *Settings) *units.Kelvin { return &s.Oil.Safe }, 10), Meaning: "Oil this far above the standing dew takes up no refrigerant.", Source: practice},
	{Key: "oil_cooled", Field: setting.Fixed(func(s *Settings) *units.Kelvin { return &s.Oil.Cooled }, 8), Meaning: "Oil that stood below oil_safe for long and came down to this has taken up refrigerant.", Source: practice},
	{Key: "oil_standing", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Oil.Standing }, 5*time.Minute), Meaning: "Shortest standing after which cold oil counts.", Source: practice},
	{Key: "oil_long", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Oil.Long }, 20*time.Minute), Meaning: "Standing cold for this long is enough by itself.", Source: practice},
	{Key: "oil_cooling", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Oil.Cooling }, 30*time.Minute), Meaning: "Standing below oil_safe for this long, and below oil_cooled at the end, is enough by itself.", Source: practice},
	{Key: "oil_boiling", Field: setting.Fixed(func(s *Settings) *units.Kelvin { return &s.Oil.Boiling }, 8), Meaning: "Oil within this of the running dew boils refrigerant out.", Source: practice},
	{Key: "oil_foam", Field: setting.Fixed(func(s *Settings) *units.Kelvin { return &s.Oil.Fall }, 4), Meaning: "How far the oil falls as it foams.", Source: practice},
	{
		Key: "detect.hunting_swing", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.Hunting.Swing }, 2, 0.5, maxDifference),
		Meaning: "Superheat that swings by more than this, peak to peak, may hunt.", Example: `"2 K"`, Source: practice,
	},
	{
		Key: "detect.hunting_cycles", Field: setting.Within(func(s *Settings) *int { return &s.Hunting.Cycles }, 4, 2, 10),
		Meaning: "Number of even swings in a row that make a hunt.", Example: "4", Source: practice,
	},
	{Key: "hunting_shortest", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Hunting.Shortest }, 20*time.Second), Meaning: "Shortest period of a hunt.", Source: practice},
	{Key: "hunting_longest", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.Hunting.Longest }, 10*time.Minute), Meaning: "Longest period of a hunt.", Source: practice},
	{Key: "hunting_uneven", Field: setting.Fixed(func(s *Settings) *float64 { return &s.Hunting.Uneven }, 0.3), Meaning: "Greatest coefficient of variation of the periods.", Source: practice},
	{Key: "hunting_samples", Field: setting.Fixed(func(s *Settings) *int { return &s.Hunting.Samples }, 6), Meaning: "Fewest readings in a period.", Source: practice},
	{
		Key: "detect.high_superheat", Field: setting.Within(func(s *Settings) *units.Kelvin { return &s.High.Superheat }, 30, 5, 100),
		Meaning: "Superheat above this is too hot to cool the compressor.", Example: `"30 K"`, Source: "upper limit of a scroll guideline, from memory",
	},
	{
		Key: "detect.high_superheat_hold", Field: setting.Within(func(s *Settings) *time.Duration { return &s.High.SuperheatHold }, 20*time.Minute, time.Minute, maxLongHold),
		Meaning: "How long the superheat must stay above high_superheat; longer than a starved pulldown lasts.", Example: `"20 min"`, Source: practice,
	},
	{
		Key: "detect.hot_discharge", Field: setting.Within(func(s *Settings) *units.Celsius { return &s.High.Discharge }, 107, 40, 200),
		Meaning: "Discharge line temperature above which the compressor overheats.", Example: `"107 degC"`, Source: "225 °F at the line, compressor makers' guidance, from memory",
	},
	{
		Key: "detect.hot_discharge_hold", Field: setting.Within(func(s *Settings) *time.Duration { return &s.High.DischargeHold }, 10*time.Minute, time.Minute, maxLongHold),
		Meaning: "How long the discharge must stay above hot_discharge.", Example: `"10 min"`, Source: practice,
	},
	{Key: "discharge_critical", Field: setting.Fixed(func(s *Settings) *units.Kelvin { return &s.High.Critical }, 15), Meaning: "This far above hot_discharge the event is critical: the oil film fails.", Source: "oil breaks down at the valves some 40 K above the line, from memory"},
	{Key: "hot_superheat", Field: setting.Fixed(func(s *Settings) *units.Kelvin { return &s.High.HotSuperheat }, 25), Meaning: "Below this superheat a hot discharge has another reason.", Source: practice},
	{
		Key: "detect.no_data_hold", Field: setting.Within(func(s *Settings) *time.Duration { return &s.NoDataHold }, 2*time.Minute, time.Second, maxLongHold),
		Meaning: "How long an input may be silent before an event opens; a gateway may restart meanwhile.", Example: `"2 min"`, Source: practice,
	},
	{
		Key: "detect.sensor_fault_hold", Field: setting.Within(func(s *Settings) *time.Duration { return &s.FaultHold }, time.Minute, time.Second, maxLongHold),
		Meaning: "How long a reading must be impossible before an event opens.", Example: `"1 min"`, Source: practice,
	},
}

// DefaultSettings returns the settings for a group that states none.
func DefaultSettings() Settings { return setting.Defaults(rows) }

// WithDefaults returns s with its zero fields filled in. A clear margin of
// zero is a margin: it is filled in only where nothing of clear is set.
func (s Settings) WithDefaults() Settings {
	d := DefaultSettings()
	if s.Floor.Pulldown == 0 && s.Floor.Steady != 0 {
		s.Floor.Pulldown = min(d.Floor.Pulldown, s.Floor.Steady)
	}
	margin, clear := s.ClearMargin, s.ClearHold
	setting.Fill(rows, &s)
	if clear != 0 {
		s.ClearMargin = margin
	}
	return s
}
