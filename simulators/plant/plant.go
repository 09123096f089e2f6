package plant

import (
	"fmt"
	"math"
	"time"
)

// substep is the time in which the equations are solved.
const (
	substep  = 0.5 // s
	substeps = 2
)

// Plant is a running plant. It is not safe for concurrent use.
type Plant struct {
	d         Description
	now       time.Time
	seconds   int64 // since Start
	groups    []*group
	humidity  *humidity
	sensors   []sensor
	inputs    []InputInfo
	faults    []*activeFault
	lastFault int
	truth     []Truth
	outdoor   float64
}

// New builds the plant that d describes and runs it through its warm-up, so
// that Now is d.Start. The same description and seed give the same plant.
func New(d Description, seed uint64) (*Plant, error) {
	p, err := newCold(d, seed)
	if err != nil {
		return nil, err
	}
	for p.seconds < 0 {
		p.stepSecond()
	}
	p.updateTruth()
	return p, nil
}

// newCold builds the plant at the beginning of its warm-up.
func newCold(d Description, seed uint64) (*Plant, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	p := &Plant{d: d, humidity: newHumidity()}
	for i := range d.Groups {
		f, err := fluidOf(d.Groups[i].Refrigerant)
		if err != nil {
			return nil, fmt.Errorf("suction group %q: %w", d.Groups[i].Name, err)
		}
		p.groups = append(p.groups, newGroup(d.Groups[i], &p.d.Store, f, p.humidity, seed))
	}
	if err := p.wire(seed); err != nil {
		return nil, err
	}
	warm := int64(math.Round(float64(d.WarmUpH * 3600)))
	p.seconds = -warm
	p.now = d.Start.Add(-time.Duration(warm) * time.Second)
	p.rewindDefrosts(float64(warm))
	for i := range d.Faults {
		f := d.Faults[i]
		if _, err := p.schedule(f, max(int64(math.Round(float64(f.AtMin*60))), -warm)); err != nil {
			return nil, fmt.Errorf("fault %d: %w", i+1, err)
		}
	}
	return p, nil
}

// rewindDefrosts sets each clock so that the first defrost after Start comes
// when the description says, and puts on each coil the frost that it has
// gathered since its last one.
func (p *Plant) rewindDefrosts(warm float64) {
	for _, g := range p.groups {
		for _, c := range g.circuits {
			c.countdown = float64(c.Defrost.FirstMin*60) + warm
			for every := float64(c.Defrost.EveryH * 3600); every > 0 && c.countdown > every; {
				c.countdown -= every
			}
			if c.Defrost.EveryH > 0 {
				since := max(float64(c.Defrost.EveryH*3600)-c.countdown, 0)
				c.coil.addFrost(float64(since * c.air.infiltration * max(c.air.moisture-c.air.water, 0)))
			}
		}
	}
}

// Description returns what the plant was built from.
func (p *Plant) Description() Description { return p.d }

// Now returns the plant's time, UTC.
func (p *Plant) Now() time.Time { return p.now }

// Step moves the plant on by dt, which is taken in whole seconds.
func (p *Plant) Step(dt time.Duration) {
	for range int(dt / time.Second) {
		p.stepSecond()
	}
	p.updateTruth()
}

// stepSecond advances the plant by one second.
func (p *Plant) stepSecond() {
	p.runFaults()
	p.outdoor = p.d.Store.OutdoorC + float64(p.d.Store.SwingK*daily(p.now))
	for range substeps {
		for _, g := range p.groups {
			g.step(substep, p.outdoor, &p.d.Store, p.humidity)
		}
	}
	p.seconds++
	p.now = p.now.Add(time.Second)
	for i := range p.sensors {
		p.sensors[i].step()
	}
}

// daily returns −1…1 over the day, highest at 15:00 UTC: two parabolas instead
// of a sine, which the last bit of a library function would make different.
func daily(t time.Time) float64 {
	s := float64((t.Unix()+86400-15*3600+6*3600)%86400) / 86400 // ¼ at 15:00
	if s < 0.5 {
		x := float64(4*s) - 1
		return 1 - float64(x*x)
	}
	x := float64(4*(s-0.5)) - 1
	return float64(x*x) - 1
}
