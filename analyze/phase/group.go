package phase

// Group follows the compressors and circuits of one suction group. It is not
// safe for concurrent use.
type Group struct {
	limits      limits
	Compressors []Compressor
	Circuits    []Circuit
	phases      []Phase
	stirs       []stir
}

// NewGroup returns the trackers of a group with the given number of
// compressors and the circuits of the given kinds.
func NewGroup(s Settings, compressors int, circuits []DefrostKind) *Group {
	g := &Group{limits: limitsFrom(s), phases: make([]Phase, compressors), Compressors: make([]Compressor, compressors), stirs: make([]stir, compressors)}
	for _, k := range circuits {
		g.Circuits = append(g.Circuits, NewCircuit(k))
	}
	return g
}

// Observe takes what is known of the group at an instant and returns the
// phase of each compressor. The slice is valid until the next Observe. It
// keeps nothing of x.
func (g *Group) Observe(x *Sample) []Phase {
	lone := len(g.Compressors) == 1
	pumping := false
	for i := range g.Compressors {
		running, since := x.Compressors[i].Running, x.At
		if running == NotKnown {
			running, since = g.stirs[i].observe(x, &x.Compressors[i], lone, g.limits.hole)
		}
		g.Compressors[i].Observe(x.At, running, since, &g.limits)
		pumping = pumping || running != No
	}
	rested := !pumping && lone && len(g.Circuits) == 1
	for i := range g.Circuits {
		g.Circuits[i].Observe(x.At, x.Circuits[i], x.Dew, pumping, rested, &g.limits)
	}
	disturbed := g.disturbed()
	for i := range g.Compressors {
		g.phases[i] = g.Compressors[i].phase(x.At, disturbed, &g.limits)
	}
	return g.phases
}

// disturbed returns what the circuits make of the group's running compressors:
// Pulldown before Defrost before Steady; Unknown when a circuit is not known
// and none of the others decides.
func (g *Group) disturbed() Phase {
	worst := Steady
	for i := range g.Circuits {
		switch g.Circuits[i].stage {
		case PullingDown:
			return Pulldown
		case Defrosting, Dripping:
			worst = Defrost
		case StageUnknown:
			if worst == Steady {
				worst = Unknown
			}
		}
	}
	return worst
}

// phase applies the contract's order.
func (c *Compressor) phase(at int64, disturbed Phase, s *limits) Phase {
	switch c.running {
	case NotKnown:
		return Unknown
	case No:
		return Off
	}
	switch c.inStart(at, s) {
	case Yes:
		return Start
	case NotKnown:
		return Unknown
	}
	return disturbed
}
