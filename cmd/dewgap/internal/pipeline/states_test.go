package pipeline

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// What is written is what strconv writes, ties and signs included.
func TestNumbersOfStatesAreThoseOfStrconv(t *testing.T) {
	same := func(t interface{ Errorf(string, ...any) }, v float64) {
		for _, decimals := range []int{1, 2, 3} {
			got, want := string(appendNumber(nil, v, decimals)), ","
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				want += strconv.FormatFloat(v, 'f', decimals, 64)
			}
			if got != want {
				t.Errorf("%v with %d decimals: %q, want %q", v, decimals, got, want)
			}
		}
	}
	for _, v := range []float64{0, math.Copysign(0, -1), -0.0004, 0.0005, 0.0015, 1.0005, 0.25, 0.35, 0.05, 9.9995, -9.9996, 999999.95, 1e6, 1e9, 1e300, math.NaN(), math.Inf(1)} {
		same(t, v)
	}
	rapid.Check(t, func(t *rapid.T) {
		same(t, rapid.Float64().Draw(t, "any"))
		same(t, rapid.Float64Range(-1e6, 1e6).Draw(t, "usual"))
		same(t, float64(rapid.IntRange(-1e6, 1e6).Draw(t, "n"))/2000) // ties and near ties
	})
}
