package cause

// Family is a group of causes that a technician tells apart from the others
// before one of its members: what feeds the coil, what warms it, what passes.
type Family string

// Families. Each check of a first visit separates families; the members of one
// take a second look.
const (
	Feed      Family = "feed"      // expansion device or charge: the coil gets too much
	AirSide   Family = "air_side"  // ice, airflow, defrost: the coil cannot boil what it gets
	Transient Family = "transient" // load or condensate after a defrost
	Vessel    Family = "vessel"    // what lies between coils and compressor
	Reading   Family = "reading"   // no liquid: the reading is false
	NoFamily  Family = "unknown"
)

var families = map[string]Family{
	"valve_stuck_open": Feed, "valve_oversized": Feed, "valve_hunting": Feed, "overcharge": Feed,
	"iced_coil": AirSide, "defrost_incomplete": AirSide, "low_airflow": AirSide,
	"load_change_after_defrost": Transient, "hot_gas_carryover": Transient,
	"accumulator_full": Vessel, "sensor_misplaced": Reading, "unknown": NoFamily,
}

// FamilyOf returns the family of a cause of the contract; NoFamily of any other
// word.
func FamilyOf(cause string) Family {
	if f, ok := families[cause]; ok {
		return f
	}
	return NoFamily
}
