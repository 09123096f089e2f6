package floodback

// Set is the detectors of one compressor.
type Set struct {
	margin marginWatch
}

// NewSet returns the detectors of one compressor of a group with settings s.
func NewSet(s Settings) Set {
	return Set{margin: newMarginWatch(s)}
}

// Step takes the next moment and appends what is not plainly clear to found.
func (s *Set) Step(m *Moment, found []Finding) []Finding {
	found = step(&s.margin, Floodback, m, found)
	return found
}

func step(d Detector, k Kind, m *Moment, found []Finding) []Finding {
	f := Finding{Kind: k, Compressor: m.Compressor, Input: -1}
	d.Step(m, &f)
	if f.Verdict == Clear {
		return found
	}
	return append(found, f)
}
