// Package history keeps what a site showed, a minute and a quarter of an hour at a
// time: lowest, mean and highest value of each quantity, and how long each phase and
// stage lasted. The daemon writes it as it goes; what is missing is made from the
// recordings by the same code. Page and API answer from it.
//
// Time comes from rows. It may import pipeline and recording to replay what is
// missing. It must never import the daemon or the page.
package history

import (
	"math"
	"sync"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/pipeline"
)

// Series is a quantity over time, of a compressor or of a circuit.
type Series struct {
	Group      string `json:"group"`
	Compressor string `json:"compressor,omitempty"`
	Circuit    string `json:"circuit,omitempty"`
	Value      string `json:"value"` // superheat, floor, dew, suction_temperature, suction_pressure, discharge_temperature, coil_superheat, air_over_dew
	Unit       string `json:"unit"`  // K, degC or Pa
}

// Track is what a compressor or circuit was doing over time.
type Track struct {
	Group      string   `json:"group"`
	Compressor string   `json:"compressor,omitempty"`
	Circuit    string   `json:"circuit,omitempty"`
	Kinds      []string `json:"kinds"` // phases, or stages
}

const (
	perCompressor = 6
	perCircuit    = 2
)

// layout is what there is to keep of a site, in the order in which Collector.Step
// fills it in.
type layout struct {
	Series []Series `json:"series"`
	Tracks []Track  `json:"tracks"`
}

func layoutOf(site analyze.Site) layout {
	phases, stages := make([]string, frame.PhaseCount), make([]string, frame.StageCount)
	for i := range phases {
		phases[i] = frame.Phase(i).String()
	}
	for i := range stages {
		stages[i] = frame.Stage(i).String()
	}
	var l layout
	for _, g := range site.Groups {
		for _, c := range g.Compressors {
			for _, v := range [perCompressor][2]string{{"superheat", "K"}, {"floor", "K"}, {"dew", "degC"}, {"suction_temperature", "degC"}, {"suction_pressure", "Pa"}, {"discharge_temperature", "degC"}} {
				l.Series = append(l.Series, Series{Group: g.Name, Compressor: c.Name, Value: v[0], Unit: v[1]})
			}
			l.Tracks = append(l.Tracks, Track{Group: g.Name, Compressor: c.Name, Kinds: phases})
		}
	}
	for _, g := range site.Groups {
		for _, c := range g.Circuits {
			for _, v := range [perCircuit]string{"coil_superheat", "air_over_dew"} {
				l.Series = append(l.Series, Series{Group: g.Name, Circuit: c.Name, Value: v, Unit: "K"})
			}
			l.Tracks = append(l.Tracks, Track{Group: g.Name, Circuit: c.Name, Kinds: stages})
		}
	}
	return l
}

// level is a width of step that is kept.
type level struct {
	name string
	step time.Duration
}

// levels, the finest first. Each step divides an hour.
var levels = [...]level{{"minutes", time.Minute}, {"quarters", 15 * time.Minute}}

// Collector turns the rows of one site into blocks of an hour.
type Collector struct {
	layout   layout
	done     func(level int, b *block)
	gaps     reading.GapDetector
	circuits []analyze.CircuitState
	machines []analyze.Machine

	mu     sync.Mutex
	blocks [len(levels)]*block // of the hour that goes on
}

// NewCollector returns a collector that hands each finished block to done.
func NewCollector(site analyze.Site, done func(level int, b *block)) *Collector {
	return &Collector{layout: layoutOf(site), done: done}
}

// Step takes what a pipeline's last step showed. Rows come in order of time.
func (c *Collector) Step(p *pipeline.Pipeline, r analyze.Result) {
	e := p.Engine()
	c.circuits, c.machines = e.Circuits(c.circuits[:0]), e.Machines(c.machines[:0])
	watched := c.gaps.Next(r.Time).Watched.Seconds()
	c.mu.Lock()
	defer c.mu.Unlock()
	hour := r.Time.Truncate(time.Hour)
	for i := range c.blocks {
		if b := c.blocks[i]; b != nil && !b.From.Equal(hour) {
			c.done(i, b)
			c.blocks[i] = nil
		}
		if c.blocks[i] == nil {
			c.blocks[i] = newBlock(c.layout, hour, levels[i].step)
		}
		c.add(c.blocks[i], r, watched)
	}
}

func (c *Collector) add(b *block, r analyze.Result, watched float64) {
	at := int(r.Time.Sub(b.From) / b.Step)
	b.rows[at]++
	n := 0
	value := func(v float64) {
		b.values[n].add(at, v)
		n++
	}
	for i := range r.States {
		s := &r.States[i]
		value(float64(s.Superheat))
		value(float64(s.Floor))
		value(float64(s.Dew))
		value(float64(s.SuctionTemperature))
		value(float64(s.SuctionPressure))
		value(float64(c.machines[i].Discharge))
		b.seconds[i][s.Phase][at] += float32(watched)
	}
	for i := range c.circuits {
		s := &c.circuits[i]
		dew := dewOf(r.States, s.Group)
		if s.Stage == frame.Refrigerating || s.Stage == frame.PullingDown {
			value(float64(s.CoilOutlet) - dew)
		} else {
			value(math.NaN()) // nothing evaporates: it is no superheat
		}
		value(float64(s.Air) - dew)
		b.seconds[len(r.States)+i][s.Stage][at] += float32(watched)
	}
}

// dewOf returns the dew temperature at a group's suction, NaN where not known.
func dewOf(states []analyze.State, group string) float64 {
	for i := range states {
		if d := float64(states[i].Dew); states[i].Group == group && !math.IsNaN(d) {
			return d
		}
	}
	return math.NaN()
}

// Flush hands over the hour that goes on. Call it when no row follows.
func (c *Collector) Flush() {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i, b := range c.blocks {
		if b != nil {
			c.done(i, b)
			c.blocks[i] = nil
		}
	}
}

// now calls with with the block of the hour that goes on, nil where there is none. It
// must not be kept. Meanwhile no block is finished.
func (c *Collector) now(level int, with func(*block)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	with(c.blocks[level])
}
