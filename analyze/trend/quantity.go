package trend

// Quantity is what is followed from day to day.
type Quantity uint8

// Quantities; the catalogue of evidence has them in words.
const (
	AfterDefrost Quantity = iota // circuit
	Outlet
	AirOverDew
	DefrostLength
	DefrostPeak
	Plateau
	InPulldown // compressor
	AgainstTwins
	QuantityCount
)

// fold is how the values of a day become one.
type fold uint8

const (
	lowest fold = iota
	average
)

// limit is where a trend wants attention.
type limit uint8

const (
	atFloor       limit = iota // the floor of pulldown
	atValue                    // a value
	timesFirst                 // a multiple of what the line is at its first day
	awayFromFirst              // a distance from what the line is at its first day, either way
)

// spec is one line of the table.
type spec struct {
	code   string // for machines
	unit   string // K, °C or s
	falls  bool   // when it gets worse
	fold   fold
	limit  limit
	at     float64 // value, multiple or distance of the limit
	change float64 // least change of the line over its days that is worth a notice
}

// specs is the table. Limits and least changes are common practice, no source.
var specs = [QuantityCount]spec{
	AfterDefrost:  {code: "lowest_superheat_after_defrost", unit: "K", falls: true, fold: lowest, limit: atFloor, change: 1},
	Outlet:        {code: "coil_outlet_superheat", unit: "K", falls: true, fold: average, limit: atValue, at: 1, change: 1},
	AirOverDew:    {code: "air_over_dew", unit: "K", fold: average, limit: timesFirst, at: 1.5, change: 1.5},
	DefrostLength: {code: "defrost_length", unit: "s", fold: average, limit: timesFirst, at: 1.5, change: 240},
	DefrostPeak:   {code: "defrost_peak", unit: "°C", falls: true, fold: average, limit: atValue, at: 2, change: 2},
	Plateau:       {code: "melting_plateau", unit: "s", fold: average, limit: timesFirst, at: 2, change: 240},
	InPulldown:    {code: "lowest_superheat_in_pulldown", unit: "K", falls: true, fold: lowest, limit: atFloor, change: 1},
	AgainstTwins:  {code: "superheat_against_twins", unit: "K", fold: average, limit: awayFromFirst, at: 3, change: 1},
}

// Code is the quantity's word for machines.
func (q Quantity) Code() string { return specs[q].code }

// Unit is K, °C or s.
func (q Quantity) Unit() string { return specs[q].unit }
