package analyze

import (
	"fmt"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
)

// input is one point of the site as the engine follows it.
type input struct {
	compressor int // over the site; −1 for a group's or a circuit's input
	detect     *floodback.Settings
	suction    *superheat.Suction // set for a suction pressure
	signal     *superheat.Signal  // inside suction, or alone
	shown      int64              // time of the value whose age is in the result
	why        *evidence.Item
	found      []evidence.Item // for why
}

func (in *input) take(at int64, r *reading.Reading) {
	if in.suction != nil {
		in.suction.Take(at, r)
		return
	}
	in.signal.Take(at, r)
}

func (in *input) now(at int64) (float64, reading.Quality, *evidence.Item) {
	return in.signal.Now(at)
}

func (in *input) at() int64 { return in.signal.At() }

// connect gives point i its place in the group that it belongs to.
func (e *Engine) connect(i int) error {
	p := &e.site.Points[i]
	g, err := e.groupOf(p.Group)
	if err != nil {
		return err
	}
	in := input{compressor: -1, detect: &g.detect}
	stale := g.spec.Superheat.StaleAfter
	if p.Role == reading.SuctionPressure {
		s := superheat.NewSuction(g.line, stale)
		in.suction = &s
		in.signal = &s.Signal
	} else {
		s := superheat.NewSignal(p.Role, stale)
		in.signal = &s
	}
	place, member, err := g.place(p)
	if err != nil {
		return err
	}
	if *place != noPoint {
		return fmt.Errorf("is the second input for the same thing; the first is %q", e.site.Points[*place].Path)
	}
	*place = i
	if member >= 0 {
		in.compressor = g.first + member
	}
	e.inputs = append(e.inputs, in)
	return nil
}

func (e *Engine) groupOf(name string) (*group, error) {
	for _, g := range e.groups {
		if g.spec.Name == name {
			return g, nil
		}
	}
	return nil, fmt.Errorf("names group %q, which the site has not", name)
}
