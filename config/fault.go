package config

import (
	"fmt"
	"slices"
	"strings"
)

// Fault is one thing that is wrong in a configuration, or, among the warnings,
// one thing that is allowed and probably not meant.
type Fault struct {
	File    string
	Line    int    // counted from 1; of the table's head when a key is missing
	Key     string // as a reader finds it: suction_group[mt].compressor[c1].kind
	Problem string // what is wrong
	Remedy  string // what would be right

	offset int // in the file, for order within a line
}

// Error writes the fault on one line: where, which key, what is wrong, what
// would be right.
func (f Fault) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d: ", f.File, f.Line)
	if f.Key != "" {
		b.WriteString(f.Key + ": ")
	}
	b.WriteString(f.Problem)
	switch {
	case f.Remedy == "":
	case strings.HasSuffix(f.Problem, "?"):
		b.WriteString(" " + f.Remedy)
	default:
		b.WriteString("; " + f.Remedy)
	}
	return b.String()
}

// Faults are all the faults of a configuration in the order of the file. As an
// error it prints one fault a line.
type Faults []Fault

// Error lists the faults, one a line.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i := range f {
		lines[i] = f[i].Error()
	}
	return strings.Join(lines, "\n")
}

func (f Faults) sort() {
	slices.SortStableFunc(f, func(a, b Fault) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.offset - b.offset
	})
}
