package suggest

import (
	"testing"

	"pgregory.net/rapid"
)

func TestDistance(t *testing.T) {
	// The first two are the textbook examples of edit distance (from memory).
	for _, c := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"saturday", "sunday", 3}, {"448a", "484a", 1}, {"", "abc", 3}, {"same", "same", 0}} {
		if got := Distance(c.a, c.b); got != c.want {
			t.Errorf("%q to %q: %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

func TestDistanceIsSymmetric(t *testing.T) {
	word := rapid.StringMatching(`[a-c]{0,6}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		d := Distance(a, b)
		if d != Distance(b, a) || (d == 0) != (a == b) || d > max(len(a), len(b)) {
			t.Errorf("%q to %q: %d, back %d", a, b, d, Distance(b, a))
		}
	})
}

func TestNearest(t *testing.T) {
	known := []string{"altitude", "atmosphere", "units", "name"}
	for word, want := range map[string]string{"altitud": "altitude", "Altitude": "altitude", "atmo": "atmosphere", "unit": "units", "nmae": "name", "colour": ""} {
		if got := Nearest(word, known); got != want {
			t.Errorf("%q: %q, want %q", word, got, want)
		}
	}
}
