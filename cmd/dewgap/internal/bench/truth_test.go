package bench

import (
	"slices"
	"time"

	"dewgap/alert"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
)

// Truth is what really happened at one compressor at one row.
type Truth struct {
	Phase     frame.Phase
	Superheat float64 // K at the inlet; meaningless when not running
	Liquid    float64 // mass fraction at the inlet
	Floor     float64 // K, by the true phase
	Flooded   bool    // this run began as a flooded start
}

// Machine is one compressor of a comparison.
type Machine struct {
	Group, Name string
	Kind        frame.CompressorKind
	Discharge   bool // has a discharge temperature
	// Blind spots: an input that its superheat is made of lies, so that no
	// floodback can be asked of it; the sensor fault is asked for instead.
	Misled func(time.Time) bool // nil: never
}

// Fault is what a comparison's store suffers from.
type Fault struct {
	Causes  []string // words of the contract that would be right; empty when there is none to name
	Circuit string   // the circuit at fault, where one is
	Input   string   // path of the input with a faulty sensor
	From    time.Time
}

// mislead marks the machines whose superheat is made of the faulty input.
func (c *Comparison) mislead() {
	for i := range c.Machines {
		m := &c.Machines[i]
		switch c.Fault.Input {
		case m.Group + ".suction_pressure", m.Group + "." + m.Name + ".suction_pressure", m.Group + "." + m.Name + ".suction_temperature":
			m.Misled = func(at time.Time) bool { return !at.Before(c.Fault.From) }
		}
	}
}

// Comparison is one recording's truth and what was found in it, for one site.
type Comparison struct {
	Name     string
	Healthy  bool
	Machines []Machine
	Fault    Fault
	Hold     floodback.ByPhase[time.Duration]
	// Starts are the flooded starts of each machine, where the rows do not show them.
	Starts [][]time.Time

	times []time.Time
	truth [][]Truth       // [row][machine]
	found [][]frame.Phase // [row][machine]
}

// Take adds one row.
func (c *Comparison) Take(at time.Time, truth []Truth, found []frame.Phase) {
	c.times = append(c.times, at)
	c.truth = append(c.truth, slices.Clone(truth))
	c.found = append(c.found, slices.Clone(found))
}

func (c *Comparison) days() float64 {
	if len(c.times) < 2 {
		return 0
	}
	return c.times[len(c.times)-1].Sub(c.times[0]).Hours() / 24
}

func (c *Comparison) end() time.Time { return c.times[len(c.times)-1] }

func (c *Comparison) closed(ev *alert.Event) time.Time {
	if ev.Closed == nil {
		return c.end()
	}
	return *ev.Closed
}

// episode is a time in which the true margin was below zero, taken together
// over breaks shorter than it takes an event to close.
type episode struct {
	from, to time.Time
	lasts    bool // below for the hold time without a break
	reached  time.Time
	liquid   float64
	major    bool
}

func (e *episode) severity() floodback.Severity {
	switch {
	case e.major:
		return floodback.Major
	case e.liquid > 0.005:
		return floodback.Minor
	}
	return floodback.Risk
}

// majorLiquid is the liquid fraction that is a major one when it lasts 30 s.
func majorLiquid(k frame.CompressorKind) float64 {
	switch k {
	case frame.AirCooledSemiHermetic:
		return 0.03
	case frame.RefrigerantCooledSemiHermetic:
		return 0.06
	}
	return 0.05
}

// longestStep is the longest time between rows that still counts as watched.
const longestStep = time.Minute

// episodes finds the true episodes of machine k. An episode ends when the
// machine is dry for two minutes (2 K over the floor) or stopped for as long.
func (c *Comparison) episodes(k int) []episode {
	var out []episode
	open, below := false, false
	var run, wet, clear time.Duration
	limit := majorLiquid(c.Machines[k].Kind)
	for i := 1; i < len(c.times); i++ {
		x := c.truth[i][k]
		dt := min(c.times[i].Sub(c.times[i-1]), longestStep)
		counts := x.Phase != frame.Off && x.Phase != frame.Start
		margin := x.Superheat - x.Floor
		if counts && margin < 0 {
			if !open {
				open = true
				out = append(out, episode{from: c.times[i]})
			}
			e := &out[len(out)-1]
			clear = 0
			e.to = c.times[i]
			if below { // the first row below zero only begins it
				run += dt
			}
			below = true
			if run >= c.Hold.In(x.Phase) && !e.lasts {
				e.lasts, e.reached = true, c.times[i]
			}
			e.liquid = max(e.liquid, x.Liquid)
			if wet += dt; x.Liquid < limit {
				wet = 0
			}
			e.major = e.major || wet >= 30*time.Second
			continue
		}
		below, run, wet = false, 0, 0
		if !counts || margin > 2 {
			clear += dt
		} else {
			clear = 0
		}
		if clear >= 2*time.Minute {
			open = false
		}
	}
	return out
}

// starts finds the flooded starts of machine k.
func (c *Comparison) starts(k int) []time.Time {
	if c.Starts != nil {
		return c.Starts[k]
	}
	var out []time.Time
	for i := 1; i < len(c.times); i++ {
		if c.truth[i][k].Flooded && !c.truth[i-1][k].Flooded {
			out = append(out, c.times[i])
		}
	}
	return out
}
