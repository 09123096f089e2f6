package bench

import (
	"fmt"
	"slices"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/config"
	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

// Case is one store that is generated from a seed and played by the simulator.
type Case struct {
	Seed     uint64
	Missing  Missing
	Fault    string // one of FaultNames; empty: healthy
	Hours    float64
	Sampling time.Duration
	Noise    float64 // factor on the sensors' noise
	Lag      float64 // factor on the sensors' lag
	Bare     bool    // no discharge and sump temperatures
}

// Cases generates n stores from the seeds that begin with first: two of three
// have a fault, each fault in its turn; sampling, noise and lag vary, and each
// fifth is bare.
func Cases(first uint64, n int, hours float64) []Case {
	names := FaultNames()
	out := make([]Case, n)
	faults := 0
	for i := range out {
		out[i] = Case{Seed: first + uint64(i), Hours: hours,
			Sampling: []time.Duration{1, 2, 5, 10}[i/2%4] * time.Second,
			Noise:    []float64{0.5, 1, 2}[i%3], Lag: []float64{1, 0.5, 1.5}[i/3%3], Bare: i%5 == 4}
		if i%3 != 2 {
			out[i].Fault = names[faults%len(names)]
			faults++
		}
	}
	return out
}

// Run plays the case through the analysis and the plain detector and adds
// their scores.
func (t Case) Run(tally, base *Tally) (err error) {
	defer func() {
		if r := recover(); r != nil { // a plant that breaks is an error of its case
			err = fmt.Errorf("seed %d fault %q: the plant or the analysis broke: %v", t.Seed, t.Fault, r)
		}
	}()
	text, fault := t.describe()
	d, err := scenarios.Decode("bench.toml", text)
	if err != nil {
		return err
	}
	p, err := plant.New(d, t.Seed)
	if err != nil {
		return err
	}
	site, column, err := siteOf(&d, p)
	if err != nil {
		return err
	}
	c := &Comparison{Name: fmt.Sprintf("seed %d %s", t.Seed, t.Fault), Healthy: t.Fault == ""}
	play, err := newPlayer(site, c)
	if err != nil {
		return err
	}
	fault.settle(c, p.Now())
	floor := floors(site)
	truth := make([]Truth, len(c.Machines))
	standing := slices.Clone(p.Truth())   // as it was a row ago
	atStop := make([]float64, len(truth)) // kg of refrigerant in the oil
	var row reading.Row
	for s := time.Duration(0); s.Hours() < t.Hours; s += t.Sampling {
		row.Time = p.Now()
		row.Readings = row.Readings[:0]
		for i := range p.Inputs() {
			if v, ok := p.Value(i); ok {
				row.Readings = append(row.Readings, reading.Reading{Point: column[i], Time: row.Time, Value: v, Quality: reading.Good})
			} else if why := p.Reason(i); why != "" {
				row.Readings = append(row.Readings, reading.Reading{Point: column[i], Time: row.Time, Quality: reading.QualityOf(why), Reason: why})
			}
		}
		for i, x := range p.Truth() {
			found := phaseOf(x.Phase)
			flooded := truth[i].Flooded && found != frame.Off
			if truth[i].Phase == frame.Off && found == frame.Start {
				flooded = standing[i].SumpAboveDewK < floodedSump && standing[i].SumpRefrigerantKg > atStop[i]+floodedKg
			}
			if truth[i].Phase != frame.Off && found == frame.Off {
				atStop[i] = x.SumpRefrigerantKg
			}
			truth[i] = Truth{Phase: found, Superheat: x.SuperheatK, Liquid: x.LiquidFraction, Floor: floor[i].In(found), Flooded: flooded}
		}
		standing = append(standing[:0], p.Truth()...)
		play.step(&row, truth)
		p.Step(t.Sampling)
	}
	play.score(tally, base)
	return nil
}

// A start is flooded when the oil stood near dew and has taken up a tenth of
// its own mass of refrigerant since the stop: what it held before, it did not
// take up by standing. Common practice, no source: oil 10 K above the standing
// dew temperature is safe, 5 K is not.
const (
	floodedSump = 8.0 // K
	floodedKg   = 0.25
)

// siteOf describes the plant to the analysis as a configuration would, and
// returns which point each input of the plant is.
func siteOf(d *plant.Description, p *plant.Plant) (analyze.Site, []int, error) {
	cfg, err := config.Parse("bench.toml", []byte(scenarios.SiteConfig(*d)))
	if err != nil {
		return analyze.Site{}, nil, err
	}
	var paths []string
	for _, in := range p.Inputs() {
		paths = append(paths, in.Path)
	}
	site, err := cfg.ForRecording(paths)
	if err != nil {
		return site, nil, err
	}
	column := make([]int, len(paths))
	for i, path := range paths {
		column[i] = slices.IndexFunc(site.Points, func(pt reading.Point) bool { return pt.Path == path })
	}
	return site, column, nil
}
