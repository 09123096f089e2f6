package units

import (
	"testing"
	"time"
)

func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0: "0 s", 45 * time.Second: "45 s", 119400 * time.Millisecond: "119 s", 119600 * time.Millisecond: "2 min",
		9*time.Minute + 20*time.Second: "9 min 20 s", 3*time.Minute + 5*time.Second: "3 min 05 s", 5 * time.Minute: "5 min",
		10*time.Minute + 29*time.Second: "10 min", 119 * time.Minute: "119 min", 119*time.Minute + 40*time.Second: "2 h 00 min",
		2*time.Hour + 5*time.Minute: "2 h 05 min", 47 * time.Hour: "47 h 00 min", 48 * time.Hour: "2 days", 100 * time.Hour: "4 days",
	} {
		if got := Span(d); got != want {
			t.Errorf("%d s: %q, want %q", int64(d/time.Second), got, want)
		}
	}
}
