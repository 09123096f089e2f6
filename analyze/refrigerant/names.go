package refrigerant

import (
	"fmt"
	"slices"
	"strings"

	"dewgap/analyze/suggest"
)

// facts are what the reference data do not say. Safety classes are those of
// ISO 817 and ASHRAE 34, from memory.
var facts = map[string]struct{ safety, common string }{
	"R12": {safety: "A1"}, "R22": {safety: "A1"}, "R23": {safety: "A1"}, "R32": {safety: "A2L"},
	"R125": {safety: "A1"}, "R134a": {safety: "A1"}, "R143a": {safety: "A2L"}, "R152a": {safety: "A2"},
	"R245fa": {safety: "B1"}, "R1233zd(E)": {safety: "A1"},
	"R1234yf": {safety: "A2L"}, "R1234ze(E)": {safety: "A2L"},
	"R290": {"A3", "propane"}, "R600": {"A3", "butane"}, "R600a": {"A3", "isobutane"}, "R1270": {"A3", "propylene"},
	"R717": {"B2L", "ammonia"}, "R744": {"A1", "carbon dioxide"},
	"R401A": {safety: "A1"}, "R402A": {safety: "A1"}, "R404A": {safety: "A1"},
	"R407A": {safety: "A1"}, "R407C": {safety: "A1"}, "R407F": {safety: "A1"}, "R407H": {safety: "A1"},
	"R408A": {safety: "A1"}, "R409A": {safety: "A1"}, "R410A": {safety: "A1"}, "R417A": {safety: "A1"},
	"R422A": {safety: "A1"}, "R422D": {safety: "A1"}, "R427A": {safety: "A1"}, "R438A": {safety: "A1"},
	"R442A": {safety: "A1"}, "R448A": {safety: "A1"}, "R449A": {safety: "A1"}, "R450A": {safety: "A1"},
	"R452A": {safety: "A1"}, "R452B": {safety: "A2L"}, "R454A": {safety: "A2L"}, "R454B": {safety: "A2L"},
	"R454C": {safety: "A2L"}, "R455A": {safety: "A2L"}, "R456A": {safety: "A1"}, "R463A": {safety: "A1"},
	"R471A": {safety: "A1"}, "R502": {safety: "A1"}, "R507A": {safety: "A1"}, "R508B": {safety: "A1"},
	"R513A": {safety: "A1"}, "R515B": {safety: "A1"}, "R516A": {safety: "A2L"},
}

// alsoCalled are usual spellings that folding does not bring together.
var alsoCalled = map[string][]string{
	"R290":       {"propane"},
	"R600":       {"butane", "n-butane"},
	"R600a":      {"isobutane"},
	"R1270":      {"propylene", "propene"},
	"R717":       {"ammonia", "NH3"},
	"R744":       {"CO2", "carbon dioxide"},
	"R507A":      {"R507"},
	"R1234ze(E)": {"R1234ze"},
	"R1233zd(E)": {"R1233zd"},
}

// fold brings usual spellings of one designation together: R-448A, r 448a,
// HFC-134a, Refrigerant 22.
func fold(name string) string {
	folded := strings.Map(func(r rune) rune {
		switch r {
		case ' ', '-', '_', '(', ')', '\u00a0', '‐', '‑', '–':
			return -1
		case '₂':
			return '2'
		case '₃':
			return '3'
		}
		return r
	}, strings.ToLower(name))
	for _, prefix := range []string{"refrigerant", "hcfc", "hcfo", "hfc", "hfo", "cfc", "hc", "r"} {
		if rest, found := strings.CutPrefix(folded, prefix); found && rest != "" && rest[0] >= '0' && rest[0] <= '9' {
			return rest
		}
	}
	return folded
}

// spellings returns the folded forms that name a refrigerant.
func spellings(name string) []string {
	all := []string{fold(name)}
	for _, other := range alsoCalled[name] {
		all = append(all, fold(other))
	}
	return all
}

// UnknownError reports that there is no refrigerant of that name.
type UnknownError struct {
	Name    string
	Nearest []string // designations like it, the most alike first; may be empty
}

func (e *UnknownError) Error() string {
	if len(e.Nearest) == 0 {
		return fmt.Sprintf("refrigerant %q is not known; 'dewgap refrigerants' lists those that are", e.Name)
	}
	last := len(e.Nearest) - 1
	nearest := e.Nearest[last]
	if last > 0 {
		nearest = strings.Join(e.Nearest[:last], ", ") + " or " + nearest
	}
	return fmt.Sprintf("refrigerant %q is not known; did you mean %s? 'dewgap refrigerants' lists all", e.Name, nearest)
}

// Lookup returns the refrigerant of that name in any usual spelling: R448A,
// R-448A, r448a, 448a; propane, CO2, ammonia. An UnknownError names the
// nearest matches.
func Lookup(name string) (*Fluid, error) {
	l := embeddedLibrary()
	i, found := l.byName[fold(name)]
	if !found {
		return nil, &UnknownError{name, l.nearest(fold(name))}
	}
	return l.fluids[i](), nil
}

// All returns every embedded refrigerant.
func All() []*Fluid {
	var all []*Fluid
	for _, fluid := range embeddedLibrary().fluids {
		all = append(all, fluid())
	}
	return all
}

// nearest returns up to four designations that are one or two slips away, or
// of the same number.
func (l *library) nearest(folded string) []string {
	type match struct {
		name  string
		slips int
	}
	var matches []match
	for known, i := range l.byName {
		slips := suggest.Distance(folded, known)
		if digits := strings.TrimRight(known, "abcdefghijklmnopqrstuvwxyz"); digits != "" && digits == strings.TrimRight(folded, "abcdefghijklmnopqrstuvwxyz") {
			slips = min(slips, 1)
		}
		if slips <= 2 && slips < len(folded) {
			matches = append(matches, match{l.fluids[i]().Name, slips})
		}
	}
	slices.SortFunc(matches, func(a, b match) int {
		if a.slips != b.slips {
			return a.slips - b.slips
		}
		return strings.Compare(a.name, b.name)
	})
	var names []string
	for _, m := range matches {
		if len(names) < 4 && !slices.Contains(names, m.name) && m.slips <= matches[0].slips+1 {
			names = append(names, m.name)
		}
	}
	return names
}
