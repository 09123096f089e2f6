package bench

import (
	"fmt"
	"os"
	"testing"
	"time"
)

// variants of the drawn stores, to see how robust the figures are.
var variants = []struct {
	name  string
	alter func(*Trial)
}{
	{"signals", func(*Trial) {}},
	{"blind", func(t *Trial) { t.Lacks = blindness }},
	{"no defrost signals", func(t *Trial) { t.Lacks.Defrost = true }},
	{"noise halved", func(t *Trial) { t.Noise /= 2 }},
	{"noise doubled", func(t *Trial) { t.Noise *= 2 }},
	{"lag halved", func(t *Trial) { t.Lag /= 2 }},
	{"lag doubled", func(t *Trial) { t.Lag *= 2 }},
	{"sampled twice as often", func(t *Trial) { t.Sampling = max(t.Sampling/2, time.Second) }},
	{"sampled half as often", func(t *Trial) { t.Sampling *= 2 }},
}

// TestFull scores the drawn stores in all variants, prints a table with one
// column for each, and holds every figure to its floor:
//
//	go test ./cmd/dewgap/internal/bench -run Full -v -full [-update] [-notes]
func TestFull(t *testing.T) {
	if !*full {
		t.Skip("needs -full; takes minutes")
	}
	var columns [][]Figure
	for _, v := range variants {
		trials := Trials(*seed, fullStores, 8)
		for i := range trials {
			v.alter(&trials[i])
		}
		var all, plain Tally
		for _, s := range scoreDrawn(t, trials) {
			all.Add(&s.tally)
			plain.Add(&s.plain)
		}
		fmt.Fprintf(os.Stdout, "\n%s, %d stores:\n", v.name, len(trials))
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
