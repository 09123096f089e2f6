package floodback

// Set is the detectors of one compressor.
type Set struct {
	margin  marginWatch
	start   startWatch
	hunting huntingWatch
	high    highWatch
	spare   [HighSuperheat + 1]Finding // one for each, by kind
}

var _ = [...]Detector{(*marginWatch)(nil), (*startWatch)(nil), (*huntingWatch)(nil), (*highWatch)(nil)}

// NewSet returns the detectors of one compressor of a group with settings s,
// their defaults filled in, and the vapour properties of its refrigerant. It
// keeps s.
func NewSet(s *Settings, v Vapour) Set {
	return Set{margin: newMarginWatch(s, v), start: startWatch{settings: s}, hunting: newHuntingWatch(s), high: newHighWatch(s)}
}

// Step takes the next moment and appends what is not plainly clear to found.
// The floodback finding, if any, comes first.
func (s *Set) Step(m *Moment, found []Finding) []Finding {
	s.margin.Step(m, s.ask(Floodback, m))
	found = s.tell(Floodback, found)
	s.start.Step(m, s.ask(FloodedStart, m))
	found = s.tell(FloodedStart, found)
	s.hunting.Step(m, s.ask(Hunting, m))
	found = s.tell(Hunting, found)
	s.high.Step(m, s.ask(HighSuperheat, m))
	return s.tell(HighSuperheat, found)
}

// ask returns the finding for a detector to fill. It stays with the set, for to
// clear and copy one each time costs more than the asking; what a detector
// leaves in it with Clear is overwritten by itself the next time.
func (s *Set) ask(k Kind, m *Moment) *Finding {
	f := &s.spare[k]
	f.Kind, f.Compressor, f.Input, f.Verdict = k, m.Compressor, -1, CannotTell
	return f
}

// tell appends what a detector has found.
func (s *Set) tell(k Kind, found []Finding) []Finding {
	f := &s.spare[k]
	if f.Verdict == Clear && f.Evidence == nil {
		return found
	}
	if f.Verdict != Clear {
		found = append(found, *f)
	}
	*f = Finding{}
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
func (s *Set) LiquidAtMost() float64 { return s.margin.wet.liquid.atMost() }
