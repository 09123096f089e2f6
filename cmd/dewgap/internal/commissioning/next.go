package commissioning

import (
	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
)

// alsoLikely is the score from which a second cause is looked for, too.
const alsoLikely = 0.15

// next lists what to check for the likeliest cause and, where it is likely
// enough, the one after it; whether the readings are true comes first.
func next(causes []Likely, r evidence.Renderer) []cause.CheckText {
	if len(causes) == 0 {
		return inWords(r, "unknown")
	}
	names := []string{causes[0].Name}
	if len(causes) > 1 && causes[1].Score >= alsoLikely {
		names = append(names, causes[1].Name)
	}
	return inWords(r, names...)
}

// inWords returns the checks of causes in words, in turn.
func inWords(r evidence.Renderer, causes ...string) (list []cause.CheckText) {
	for _, c := range cause.ChecksInTurn(causes...) {
		list = append(list, c.In(r))
	}
	return list
}
