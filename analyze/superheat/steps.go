package superheat

import "math"

// Stillness is how long an input has been bit-identical, and how long it ever
// was before: a coarse sensor of a quantity that hardly moves is still for long,
// too.
type Stillness struct {
	Since   int64 // ns; time of the first of the identical readings
	Until   int64 // ns; time of the newest of them
	Count   int   // identical readings, the first included
	Longest int64 // ns; longest run that ended in a change
}

// For returns how long the present run has lasted, in ns.
func (s Stillness) For() int64 { return s.Until - s.Since }

func (s *Stillness) restart(at int64) { s.Since, s.Until, s.Count = at, at, 1 }

func (s *Stillness) take(same bool, at int64) {
	if same {
		s.Until = at
		s.Count++
		return
	}
	s.Longest = max(s.Longest, s.For())
	s.restart(at)
}

// Step is a change of level between two neighbouring samples after which the
// value stood still: what a moved or swapped sensor does, and what a
// temperature behind a pipe wall cannot do.
type Step struct {
	At       int64   // ns; 0: none was ever seen
	From, To float64 // levels before and after
}

// Size returns To − From.
func (s Step) Size() float64 { return s.To - s.From }

// stepWatch finds Steps.
type stepWatch struct {
	usual     float64 // mean |change| between samples, clamped: noise and usual movement
	n         int     // samples behind usual
	last      float64 // change before this one
	candidate Step
	left      int // samples still to stand still
	found     Step
}

const (
	stepTimes  = 8        // a step is this many times the usual change between samples
	stepStand  = 0.25     // what follows stays within this share of it
	stepMemory = 1.0 / 64 // share of the newest sample in the usual change
	stepClamp  = 4        // one sample counts as that many times the usual change at most
	stepLearn  = 20       // samples before anything is called a step
)

func (w *stepWatch) reset() { w.left = 0 }

func (w *stepWatch) take(before, x float64, at int64, least float64) {
	d := math.Abs(x - before)
	// The level before must have stood, too: the end of a spike is no step.
	stood := math.Abs(w.last) <= stepStand*d+2*w.usual
	w.last = x - before
	if w.left > 0 {
		c := &w.candidate
		if math.Abs(x-c.To) > stepStand*math.Abs(c.Size())+2*w.usual {
			w.left = 0 // went on, or went back
		} else if w.left--; w.left == 0 {
			w.found = *c
		}
	} else if w.n >= stepLearn && stood && d > max(least, stepTimes*w.usual) {
		w.candidate, w.left = Step{At: at, From: before, To: x}, stepConfirm
	}
	if w.n < stepLearn {
		w.n++
		w.usual += (d - w.usual) / float64(w.n)
		return
	}
	w.usual += (min(d, stepClamp*w.usual+1e-9) - w.usual) * stepMemory
}
