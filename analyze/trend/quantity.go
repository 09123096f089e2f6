package trend

// Quantity is what is followed from day to day.
type Quantity uint8

// Quantities; the table says what each means.
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
	atFloor   limit = iota // the floor of pulldown
	atValue                // a value
	timesThen              // a multiple of what it was at the first day
	awayThen               // a distance from that, either way
)

// spec is one line of the table.
type spec struct {
	code   string // for machines
	words  string
	unit   string // K, °C or s
	down   bool   // bad when it falls
	fold   fold
	limit  limit
	at     float64 // value, multiple or distance of the limit
	change float64 // least change of the line over its days that is worth a word
	check  string  // what to look at
}

// specs is the table. Limits and least changes are common practice, no source.
var specs = [QuantityCount]spec{
	AfterDefrost: {"lowest_superheat_after_defrost", "lowest superheat at the compressors after its defrosts", "K", true, lowest, atFloor, 0, 1,
		"its defrosts, then coil and valve"},
	Outlet: {"coil_outlet_superheat", "superheat at its coil outlet in steady running", "K", true, average, atValue, 1, 1,
		"coil for ice, then the valve: it closes less and less"},
	AirOverDew: {"air_over_dew", "air over dew in steady running", "K", false, average, timesThen, 1.5, 1.5,
		"coil for ice or dirt, fans"},
	DefrostLength: {"defrost_length", "length of its defrosts", "s", false, average, timesThen, 1.5, 240,
		"coil for ice, heaters, termination"},
	DefrostPeak: {"defrost_peak", "highest coil outlet temperature of its defrosts", "°C", true, average, atValue, 2, 2,
		"heaters, longest time, ice left on the coil"},
	Plateau: {"melting_plateau", "time its coil stands at 0 °C in a defrost", "s", false, average, timesThen, 2, 240,
		"coil for ice: there is more to melt each day"},
	InPulldown: {"lowest_superheat_in_pulldown", "lowest superheat in pulldown", "K", true, lowest, atFloor, 0, 1,
		"the circuit whose defrosts go with it"},
	AgainstTwins: {"superheat_against_twins", "superheat in steady running against the other compressors", "K", false, average, awayThen, 3, 1,
		"its sensor first: clamp, insulation, drift"},
}

// Code is the quantity's word for machines.
func (q Quantity) Code() string { return specs[q].code }

// Words is the quantity in words, as of a circuit or a compressor.
func (q Quantity) Words() string { return specs[q].words }

// Unit is K, °C or s.
func (q Quantity) Unit() string { return specs[q].unit }
