package bench

import (
	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/pipeline"
)

// player takes rows through the line that live and replay use, and through the
// plain detector, and keeps their results beside the truth.
type player struct {
	site    analyze.Site
	line    *pipeline.Pipeline
	history *alert.History
	plain   *plain
	c       *Comparison // result of the pipeline
	p       *Comparison // result of the plain detector
	found   []frame.Phase
}

func newPlayer(site analyze.Site, c *Comparison) (*player, error) {
	line, err := pipeline.New(site)
	if err != nil {
		return nil, err
	}
	c.Machines = machines(site)
	c.Hold = floodback.DefaultSettings().Hold
	beside := *c
	return &player{site: site, line: line, history: alert.NewHistory(0), plain: newPlain(site), c: c, p: &beside,
		found: make([]frame.Phase, len(c.Machines))}, nil
}

func (p *player) step(row *reading.Row, truth []Truth) {
	p.plain.step(row)
	p.p.Take(row.Time, truth, p.plain.phases())
	result, changes := p.line.Step(row)
	p.history.Apply(changes...)
	for i := range result.States {
		p.found[i] = result.States[i].Phase
	}
	p.c.Take(row.Time, truth, p.found)
}

// score adds the results to the tallies of the pipeline and of the plain detector.
func (p *player) score(t, plain *Tally) {
	p.history.Refresh(p.line.Tracker.Open())
	t.Score(p.c, p.history.Events())
	p.p.Machines, p.p.Fault, p.p.Starts = p.c.Machines, p.c.Fault, p.c.Starts
	plain.Score(p.p, p.plain.finish())
}

// machines lists the compressors of a site, in the order of the analysis.
func machines(site analyze.Site) []Machine {
	var out []Machine
	for _, g := range site.Groups {
		for _, c := range g.Compressors {
			m := Machine{Group: g.Name, Name: c.Name, Kind: c.Kind}
			for _, p := range site.Points {
				if p.Group == g.Name && p.Member == c.Name && p.Role == reading.DischargeTemperature {
					m.Discharge = true
				}
			}
			out = append(out, m)
		}
	}
	return out
}

// floors gives the floor of each machine, in K.
func floors(site analyze.Site) []floodback.ByPhase[float64] {
	var out []floodback.ByPhase[float64]
	for _, g := range site.Groups {
		f := g.Detect.Floor
		if f.Steady == 0 {
			f = floodback.DefaultSettings().Floor
		}
		for range g.Compressors {
			out = append(out, floodback.ByPhase[float64]{Steady: float64(f.Steady), Pulldown: float64(f.Pulldown)})
		}
	}
	return out
}

func phaseOf(word string) frame.Phase {
	for p := range frame.Phase(frame.PhaseCount) {
		if p.String() == word {
			return p
		}
	}
	return frame.Unknown
}

// Missing is the signals that a store does without.
type Missing struct{ Running, Defrost bool }

// noSignals is the lack of both.
var noSignals = Missing{Running: true, Defrost: true}

// String names the signals that are there.
func (l Missing) String() string {
	switch {
	case l.Running && l.Defrost:
		return "without signals"
	case l.Running:
		return "without running signals"
	case l.Defrost:
		return "without defrost signals"
	}
	return "with signals"
}

// missingIn returns the signals that some compressor or circuit of the site
// does without.
func missingIn(site analyze.Site) Missing {
	has := map[reading.Role]int{}
	for _, p := range site.Points {
		has[p.Role]++
	}
	compressors, circuits := 0, 0
	for _, g := range site.Groups {
		compressors += len(g.Compressors)
		circuits += len(g.Circuits)
	}
	return Missing{Running: has[reading.Running] < compressors, Defrost: has[reading.Defrost] < circuits}
}
