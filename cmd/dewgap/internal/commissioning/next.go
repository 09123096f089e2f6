package commissioning

import (
	"slices"

	"dewgap/analyze/cause"
)

// alsoLikely is the score from which a second cause is looked for, too.
const alsoLikely = 0.15

// next lists what to check for the likeliest cause and, where it is likely
// enough, the one after it; whether the readings are true comes first.
func next(causes []Likely) []cause.Check {
	if len(causes) == 0 {
		return cause.Checks("unknown")
	}
	list := cause.Checks(causes[0].Name)
	if len(causes) > 1 && causes[1].Score >= alsoLikely {
		for _, check := range cause.Checks(causes[1].Name) {
			if !slices.Contains(list, check) {
				list = append(list, check)
			}
		}
	}
	return list
}
