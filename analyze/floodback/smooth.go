package floodback

import "math"

// smooth is a first-order low-pass in event time. Its zero value knows nothing.
type smooth struct {
	value float64
	known bool
}

// take enters x after step ns, with time constant tau seconds, and returns the
// smoothed value. NaN is ignored.
func (s *smooth) take(x float64, step int64, tau float64) float64 {
	switch {
	case math.IsNaN(x):
	case !s.known:
		s.value, s.known = x, true
	default:
		dt := float64(step) / 1e9
		s.value += (x - s.value) * dt / (tau + dt)
	}
	if !s.known {
		return math.NaN()
	}
	return s.value
}

// words keeps the evidence of a lasting condition, so that it is put into
// words now and then and not at every moment.
type words struct {
	at    int64
	sev   Severity
	lines []string
}

func (w *words) due(at int64, sev Severity) bool {
	return w.lines == nil || sev != w.sev || at-w.at >= refresh || at < w.at
}

func (w *words) set(at int64, sev Severity, lines []string) []string {
	w.at, w.sev, w.lines = at, sev, lines
	return lines
}

func (w *words) forget() { w.lines = nil }
