package floodback

// Set is the detectors of one compressor.
type Set struct {
	margin  marginWatch
	start   startWatch
	hunting huntingWatch
	high    highWatch
}

// NewSet returns the detectors of one compressor of a group with settings s,
// their defaults filled in, and the vapour properties of its refrigerant. It
// keeps s.
func NewSet(s *Settings, v Vapour) Set {
	return Set{margin: newMarginWatch(s, v), start: startWatch{settings: s}, hunting: newHuntingWatch(s), high: newHighWatch(s)}
}

// Step takes the next moment and appends what is not plainly clear to found.
// The floodback finding, if any, comes first.
func (s *Set) Step(m *Moment, found []Finding) []Finding {
	found = step(&s.margin, Floodback, m, found)
	found = step(&s.start, FloodedStart, m, found)
	found = step(&s.hunting, Hunting, m, found)
	found = step(&s.high, HighSuperheat, m, found)
	return found
}

// Hunts tells whether the superheat of the compressor is hunting now.
func (s *Set) Hunts() bool { return s.hunting.present }

// Discharge tells whether the efficiency of the compressor has been learned,
// and by how many K its discharge temperature heads below that of dry gas at
// 0 K of superheat: below zero while it takes superheated gas, NaN where not
// known.
func (s *Set) Discharge() (learned bool, shortfall float64) { return s.margin.wet.liquid.shortfall() }

// LiquidAtMost returns the share of liquid by mass that the discharge
// temperature allows at most; NaN when it cannot tell.
func (s *Set) LiquidAtMost() float64 {
	l := &s.margin.wet.liquid
	return l.liquid + l.doubt/2
}

func step(d Detector, k Kind, m *Moment, found []Finding) []Finding {
	// The detector fills the slice's own element: a variable of ours would
	// escape to the heap at each step.
	found = append(found, Finding{Kind: k, Compressor: m.Compressor, Input: -1})
	f := &found[len(found)-1]
	d.Step(m, f)
	if f.Verdict == Clear {
		return found[:len(found)-1]
	}
	return found
}
