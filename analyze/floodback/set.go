package floodback

// Set is the detectors of one compressor.
type Set struct {
	margin  marginWatch
	start   startWatch
	hunting huntingWatch
	high    highWatch
	spare   [4]Finding // one for each
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
	found = step(&s.margin, Floodback, m, &s.spare[0], found)
	found = step(&s.start, FloodedStart, m, &s.spare[1], found)
	found = step(&s.hunting, Hunting, m, &s.spare[2], found)
	found = step(&s.high, HighSuperheat, m, &s.spare[3], found)
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

// step asks one detector. It fills a finding that stays with the set, for to
// clear and copy one each time costs more than the asking; what a detector
// leaves in it with Clear is overwritten by itself the next time.
func step(d Detector, k Kind, m *Moment, f *Finding, found []Finding) []Finding {
	f.Kind, f.Compressor, f.Input, f.Verdict = k, m.Compressor, -1, CannotTell
	d.Step(m, f)
	if f.Verdict == Clear && f.Evidence == nil {
		return found
	}
	if f.Verdict != Clear {
		found = append(found, *f)
	}
	*f = Finding{}
	return found
}
