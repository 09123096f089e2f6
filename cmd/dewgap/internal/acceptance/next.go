package acceptance

// checkFirst is asked before anything: is the reading true?
const checkFirst = "Is the reading true? Sensor tight, insulated, on clean pipe; right refrigerant; pressure gauge or absolute as set."

// checksOf are what a troubleshooter looks at for each cause: common practice.
var checksOf = map[string]string{
	"sensor_misplaced":          "The suction-line sensor: contact, insulation, distance to the inlet. Compare with the machine's twin and, stopped, with the room.",
	"iced_coil":                 "The coil, for ice; then heaters (current in each phase), termination, drain, fans, door.",
	"low_airflow":               "Fans: blades, motors, direction of rotation; blocked return air; dirty coil.",
	"defrost_incomplete":        "Does the coil climb past 0 °C (32 °F) and end by temperature, or always by time? Heaters, clock, fail-safe time.",
	"load_change_after_defrost": "Drain-down time and fan delay after defrost.",
	"valve_oversized":           "Valve orifice against the coil's load at the lowest head pressure.",
	"valve_stuck_open":          "Bulb: strapped, insulated, at the right place; equaliser; dirt in the valve; drive position of an electronic valve.",
	"valve_hunting":             "Bulb contact, distributor, flash gas before the valve; then its setting, at the coil outlet in steady load.",
	"overcharge":                "Subcooling, sight glass and the charge on the label, before anything is recovered by certified people.",
	"accumulator_full":          "Accumulator: size, oil hole, frost line; which circuit sends the liquid.",
	"hot_gas_carryover":         "Is pressure bled before the suction valve opens? Differential regulator, check valves, suction stop valve.",
}

// next lists what to look at for causes, in their order.
func next(causes []Likely) []string {
	list := []string{checkFirst}
	for _, c := range causes {
		if check, ok := checksOf[c.Name]; ok {
			list = append(list, check)
		}
	}
	return list
}
