package evidence

// TrendCourse is how a slow trend stands against its limit.
type TrendCourse string

// Courses: the endings of trend codes.
const (
	ReachesInDays  TrendCourse = ""
	ReachesInADay  TrendCourse = "_within_a_day"
	HasPassedLimit TrendCourse = "_past_limit"
)

// Trend returns the code of a quantity that falls or rises from day to day.
func Trend(quantity string, falls bool, course TrendCourse) Code {
	if falls {
		return Code(quantity + "_falls" + string(course))
	}
	return Code(quantity + "_rises" + string(course))
}

// trendTexts hold what each trend is about, in what unit, and what to look at.
var trendTexts = []struct {
	quantity string
	falls    bool
	text     string
	level    string // ending of the values now and limit
	change   string // ending of the change
	check    string
}{
	{"lowest_superheat_after_defrost", true, "lowest superheat at the compressors after its defrosts", "_k", "_k", "its defrosts, then coil and valve"},
	{"coil_outlet_superheat", true, "superheat at its coil outlet in steady running", "_k", "_k", "coil for ice, then the valve: it closes less and less"},
	{"air_over_dew", false, "air above dew in steady running", "_k", "_k", "coil for ice or dirt, fans"},
	{"defrost_length", false, "length of its defrosts", "_seconds", "_seconds", "coil for ice, heaters, termination"},
	{"defrost_peak", true, "highest coil outlet temperature of its defrosts", "_c", "_k", "heaters, longest time, ice left on the coil"},
	{"melting_plateau", false, "time its coil stands at the melting point in a defrost", "_seconds", "_seconds", "coil for ice: there is more to melt each day"},
	{"lowest_superheat_in_pulldown", true, "lowest superheat in pulldown", "_k", "_k", "the circuit whose defrosts go with it"},
	{"superheat_against_twins", false, "superheat in steady running against the other compressors", "_k", "_k", "its sensor first: clamp, insulation, drift"},
	{"superheat_against_twins", true, "superheat in steady running against the other compressors", "_k", "_k", "its sensor first: clamp, insulation, drift"},
}

var trendEntries = func() []entry {
	var all []entry
	for _, t := range trendTexts {
		verb := "rose"
		if t.falls {
			verb = "fell"
		}
		begin := t.text + " " + verb + " by {change" + t.change + "} in {over_count} days to {now" + t.level + "}"
		limit, check := "{limit"+t.level+"}", ". Look at: "+t.check+"."
		all = append(all,
			entry{Trend(t.quantity, t.falls, ReachesInDays), begin + "; going on so, it reaches " + limit + " in {in_count} days" + check},
			entry{Trend(t.quantity, t.falls, ReachesInADay), begin + "; going on so, it reaches " + limit + " within a day" + check},
			entry{Trend(t.quantity, t.falls, HasPassedLimit), begin + "; it has passed " + limit + check})
	}
	return all
}()
