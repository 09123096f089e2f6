package analyze_test

import (
	"math"
	"testing"

	"dewgap/analyze/superheat"
)

// TestBudgetsAddUp: the parts that the engine tells of add in squares (JCGM
// 100:2008, 5.1.2) to the uncertainty in the state; a group without superheat
// has no budget.
func TestBudgetsAddUp(t *testing.T) {
	b := newBench(t)
	if all := b.engine.Budgets(); len(all) != 1 || len(all[0].Parts) != 0 {
		t.Errorf("before anything was read: %+v", all)
	}
	r := b.feed(5, -10, 12, 1, 70)
	budget := b.engine.Budgets()[0]
	sum := 0.0
	for _, p := range budget.Parts {
		sum += float64(p.Standard * p.Standard)
	}
	expanded := superheat.Coverage * math.Sqrt(sum)
	if got := float64(r.States[0].Uncertainty); math.Abs(got-expanded) > 1e-6 || math.Abs(float64(budget.Expanded)-expanded) > 1e-9 {
		t.Errorf("state says ±%v K, parts ±%v K, budget ±%v K", got, expanded, budget.Expanded)
	}
	if lag := budget.Lag; !lag.Assumed || lag.Source() != "assumed" || lag.Lag != superheat.TypicalLag {
		t.Errorf("lag %+v", lag)
	}
}
