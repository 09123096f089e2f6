package commissioning

import (
	"slices"

	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
)

// alsoLikely is the score from which a second cause is looked for, too.
const alsoLikely = 0.15

// next lists what to check for the likeliest cause and, where it is likely
// enough, the one after it; whether the readings are true comes first.
func next(causes []Likely, r evidence.Renderer) []cause.CheckText {
	if len(causes) == 0 {
		return inWords("unknown", r)
	}
	list := inWords(causes[0].Name, r)
	if len(causes) > 1 && causes[1].Score >= alsoLikely {
		for _, check := range inWords(causes[1].Name, r) {
			if !slices.Contains(list, check) {
				list = append(list, check)
			}
		}
	}
	return list
}

// inWords returns the checks of a cause in words.
func inWords(name string, r evidence.Renderer) (list []cause.CheckText) {
	for _, c := range cause.Checks(name) {
		list = append(list, c.In(r))
	}
	return list
}
