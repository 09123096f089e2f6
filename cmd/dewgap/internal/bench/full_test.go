package bench

import (
	"fmt"
	"os"
	"testing"
	"time"
)

// variants of the generated stores, to see how robust the figures are.
var variants = []struct {
	name  string
	alter func(*Case)
}{
	{"signals", func(*Case) {}},
	{"blind", func(t *Case) { t.Missing = noSignals }},
	{"no defrost signals", func(t *Case) { t.Missing.Defrost = true }},
	{"noise halved", func(t *Case) { t.Noise /= 2 }},
	{"noise doubled", func(t *Case) { t.Noise *= 2 }},
	{"lag halved", func(t *Case) { t.Lag /= 2 }},
	{"lag doubled", func(t *Case) { t.Lag *= 2 }},
	{"sampled twice as often", func(t *Case) { t.Sampling = max(t.Sampling/2, time.Second) }},
	{"sampled half as often", func(t *Case) { t.Sampling *= 2 }},
}

// TestFull scores the generated stores in all variants, prints a table with one
// column for each, and holds every figure to its floor:
//
//	go test ./cmd/dewgap/internal/bench -run Full -v -full [-update] [-notes]
func TestFull(t *testing.T) {
	if !*full {
		t.Skip("needs -full; takes minutes")
	}
	var columns [][]Figure
	for _, v := range variants {
		cases := Cases(*seed, fullStores, 8)
		for i := range cases {
			v.alter(&cases[i])
		}
		var all, plain Tally
		for _, s := range scoreGenerated(t, cases) {
			all.Add(&s.tally)
			plain.Add(&s.plain)
		}
		fmt.Fprintf(os.Stdout, "\n%s, %d stores:\n", v.name, len(cases))
		all.Print(os.Stdout, &plain)
		if *notes {
			for _, n := range all.Notes {
				t.Logf("%s: %s", v.name, n)
			}
		}
		columns = append(columns, all.Figures())
		hold(t, v.name, all.Figures())
	}
	fmt.Fprintf(os.Stdout, "\n%-48s", "all variants")
	for _, v := range variants {
		fmt.Fprintf(os.Stdout, " %23s", v.name)
	}
	for i, f := range columns[0] {
		fmt.Fprintf(os.Stdout, "\n%-48s", f.Name)
		for _, c := range columns {
			fmt.Fprintf(os.Stdout, " %23.3f", c[i].Value)
		}
	}
	fmt.Fprintln(os.Stdout)
}

const fullStores = 68 // each fault three times
