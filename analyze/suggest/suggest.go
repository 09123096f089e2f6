// Package suggest finds what somebody may have meant: the known word most like
// the one that was written.
//
// It may import the standard library's pure packages only.
package suggest

import "strings"

// Nearest returns the candidate most like the word, or nothing when none is
// like it: at most a third of the letters may differ, or the end may lack.
func Nearest(word string, candidates []string) string {
	best, least := "", max(1, len(word)/3)+1
	for _, c := range candidates {
		if d := Distance(strings.ToLower(word), strings.ToLower(c)); d < least {
			best, least = c, d
		}
	}
	for _, c := range candidates {
		if best == "" && len(word) >= 3 && strings.HasPrefix(c, word) {
			best = c
		}
	}
	return best
}

// Distance counts the letters to add, drop, change or swap with a neighbour to
// get from a to b (optimal string alignment).
func Distance(a, b string) int {
	before, last, now := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		now[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			now[j] = min(last[j]+1, now[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				now[j] = min(now[j], before[j-2]+1)
			}
		}
		before, last, now = last, now, before
	}
	return last[len(b)]
}
