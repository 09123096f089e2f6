package cause

import (
	"fmt"
	"strings"
)

// Scores from which a cause is named alone, two are named together, and a family
// is named. Scores are too sure on plants that they were not fitted to; of those
// from 0.6 to 0.8 two in three are right there. Common practice, no source.
const (
	alone    = 0.8
	together = 0.7
	inFamily = 0.6
)

// familyWords are the families in words for people.
var familyWords = map[Family]string{
	Feed: "what feeds the coil, valve or charge", AirSide: "the air side of the coil, ice, air or defrost", Transient: "the minutes after a defrost",
	Vessel: "a vessel in the suction line", Reading: "a false reading", NoFamily: "not known",
}

// Verdict says in words how far a ranking of causes decides: one cause, one of
// two, a family, or nothing. names are words of the contract, likeliest first,
// with their scores; empty for none.
func Verdict(names []string, scores []float64) string {
	if len(names) == 0 {
		return ""
	}
	said := func(i int) string { return fmt.Sprintf("%s (%.0f %%)", Words(names[i]), 100*scores[i]) }
	switch {
	case scores[0] >= alone || len(names) == 1:
		return said(0)
	case scores[0]+scores[1] >= together:
		return said(0) + " or " + said(1)
	}
	sums := map[Family]float64{}
	best := FamilyOf(names[0])
	for i, name := range names {
		f := FamilyOf(name)
		sums[f] += scores[i]
		if sums[f] > sums[best] {
			best = f
		}
	}
	if sums[best] >= inFamily {
		return fmt.Sprintf("%s (%.0f %%); which member is not clear", familyWords[best], 100*sums[best])
	}
	list := []string{said(0), said(1)}
	if len(names) > 2 {
		list = append(list, said(2))
	}
	return "not clear: " + strings.Join(list, ", ")
}

// CheckFor is a check and the cause that it is for; none for those that come
// before any cause.
type CheckFor struct {
	Cause string
	Check
}

// ChecksInTurn returns what to check where several causes are likely, each check
// once: whether the readings are true, then the first check of each cause, then
// the second of each. So the cheap looks that tell causes apart come before the
// work on any of them.
func ChecksInTurn(causes ...string) []CheckFor {
	var all []CheckFor
	seen := map[string]bool{}
	add := func(of string, c Check) {
		if code := string(c.Do.Code); !seen[code] {
			seen[code] = true
			all = append(all, CheckFor{of, c})
		}
	}
	longest := 0
	lists := make([][]Check, len(causes))
	for i, name := range causes {
		lists[i] = Checks(name)
		longest = max(longest, len(lists[i]))
	}
	for k := range longest {
		for i, list := range lists {
			switch {
			case k >= len(list):
			case k < BeforeAnyCause:
				add("", list[k])
			default:
				add(causes[i], list[k])
			}
		}
	}
	return all
}
