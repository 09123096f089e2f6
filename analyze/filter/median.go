package filter

// MaxWindow is the largest number of samples in a RunningMedian.
const MaxWindow = 11

// RunningMedian is the median of the newest samples. Its zero value takes one.
type RunningMedian struct {
	window [MaxWindow]float64 // newest first
	sorted [MaxWindow]float64
	n      int
	size   int // samples wanted: odd
}

// Resize sets the number of samples: odd, at most MaxWindow.
func (m *RunningMedian) Resize(size int) {
	if size == m.size {
		return
	}
	m.size = size
	m.n = min(m.n, size-1)
	copy(m.sorted[:m.n], m.window[:m.n])
	for i := 1; i < m.n; i++ {
		for j := i; j > 0 && m.sorted[j] < m.sorted[j-1]; j-- {
			m.sorted[j], m.sorted[j-1] = m.sorted[j-1], m.sorted[j]
		}
	}
}

// Size returns the number of samples wanted.
func (m *RunningMedian) Size() int { return max(m.size, 1) }

// Update enters a sample, which must be a number, and returns the median.
func (m *RunningMedian) Update(x float64) float64 {
	i, size := m.n, m.Size()
	if m.n < size {
		m.n++
	} else { // x takes the place of the oldest
		oldest := m.window[m.n-1]
		for i = 0; m.sorted[i] != oldest; i++ {
		}
	}
	for ; i > 0 && m.sorted[i-1] > x; i-- {
		m.sorted[i] = m.sorted[i-1]
	}
	for ; i < m.n-1 && m.sorted[i+1] < x; i++ {
		m.sorted[i] = m.sorted[i+1]
	}
	m.sorted[i] = x
	for i := m.n - 1; i > 0; i-- { // a few: cheaper than copy
		m.window[i] = m.window[i-1]
	}
	m.window[0] = x
	return m.Value()
}

// Value returns the median of what was entered; NaN of nothing.
func (m *RunningMedian) Value() float64 { return Median(m.sorted[:m.n]) }

// Full returns the samples newest first and in ascending order, and whether as
// many as wanted are there. Both slices are valid until the next Update.
func (m *RunningMedian) Full() (window, sorted []float64, full bool) {
	return m.window[:m.n], m.sorted[:m.n], m.n == m.Size()
}

// Reset forgets all samples and keeps the size.
func (m *RunningMedian) Reset() { m.n = 0 }

// MedianFollower follows the median of positive numbers: it steps up or down
// by a share of itself, so that what is rare and large does not move it. Its
// zero value knows nothing.
type MedianFollower struct{ value float64 }

// followShare is the step as a share of the value; common practice, no source.
const followShare = 0.01

// Update enters x, which must not be below 0. A value below floor counts as
// nothing known: x takes its place.
func (m *MedianFollower) Update(x, floor float64) {
	switch {
	case m.value < floor:
		m.value = x
	case x > m.value:
		m.value *= 1 + followShare
	default:
		m.value /= 1 + followShare
	}
}

// Value returns the median; 0 when nothing is known.
func (m *MedianFollower) Value() float64 { return m.value }
