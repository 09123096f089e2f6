package bench

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

// Trial is one store that the bench draws from a seed.
type Trial struct {
	Seed     uint64
	Signals  bool // running and defrost signals exist
	Fault    string
	Hours    float64
	Sampling time.Duration
	Noise    float64 // factor on the sensors' noise
	Lag      float64 // factor on the sensors' lag
	Bare     bool    // no discharge and sump temperatures
}

// faults are what a trial can be struck by, with the contract's words for the
// causes that would be right.
var faults = []struct {
	name   string
	amount func(r *rand.Rand) float64
	causes []string
}{
	{"valve_stuck_open", func(r *rand.Rand) float64 { return 0.75 + 0.25*r.Float64() }, []string{"valve_stuck_open"}},
	{"valve_oversized", func(r *rand.Rand) float64 { return 1.8 + r.Float64() }, []string{"valve_oversized"}},
	{"valve_hunting", func(r *rand.Rand) float64 { return 3 + 3*r.Float64() }, []string{"valve_hunting"}},
	{"iced_coil", func(r *rand.Rand) float64 { return 8 + 8*r.Float64() }, []string{"iced_coil"}},
	{"low_airflow", func(r *rand.Rand) float64 { return 0.15 + 0.2*r.Float64() }, []string{"low_airflow"}},
	{"defrost_incomplete", func(r *rand.Rand) float64 { return 0.15 + 0.2*r.Float64() }, []string{"defrost_incomplete"}},
	{"hot_gas_drain", func(r *rand.Rand) float64 { return 0.3 + 0.3*r.Float64() }, []string{"hot_gas_carryover"}},
	{"bulb_loose", func(r *rand.Rand) float64 { return 0.4 + 0.4*r.Float64() }, nil},
}

// FaultNames lists the faults that a Trial can have.
func FaultNames() []string {
	var names []string
	for _, f := range faults {
		names = append(names, f.name)
	}
	return names
}

// describe draws the store of a trial.
func (t Trial) describe() (string, Case) {
	r := rand.New(rand.NewPCG(t.Seed, 11))
	lt := r.IntN(2) == 0
	comps, circs := 1+r.IntN(3), 2+r.IntN(3)
	dew, air, fluid := -10.0, 2.0, []string{"R513A", "R448A", "R134a", "R404A"}[r.IntN(4)]
	if lt {
		dew, air, fluid = -32, -20, []string{"R448A", "R404A", "R407F", "R452A"}[r.IntN(4)]
	}
	var b strings.Builder
	w := func(f string, a ...any) { fmt.Fprintf(&b, f+"\n", a...) }
	w("name = %q\nsite = \"bench\"\nwarm_up_h = 7\nhours = %g", "bench", t.Hours)
	var omit []string
	if !t.Signals {
		omit = append(omit, "*.*.running", "*.*.defrost")
	}
	if t.Bare {
		omit = append(omit, "*.*.discharge_temperature", "*.*.sump_temperature")
	}
	if len(omit) > 0 {
		w("omit = [\"%s\"]", strings.Join(omit, `", "`))
	}
	w("[store]\noutdoor_c = %.1f\nmachine_room_c = %.1f", 5+20*r.Float64(), 18+12*r.Float64())
	lag := (10 + 30*r.Float64()) * t.Lag
	w("[sensors]\ntemperature_lag_s = %.1f\ntemperature_noise_k = %.3f\npressure_noise_bar = %.4f", lag, 0.05*t.Noise, 0.02*t.Noise)
	w("[[suction_group]]\nname = \"g\"\nrefrigerant = %q\ndew_c = %g", fluid, dew)
	load := make([]float64, circs)
	total := 0.0
	for i := range load {
		load[i] = 3 + 4*r.Float64()
		total += load[i]
	}
	c := Case{Healthy: t.Fault == ""}
	kinds := []string{"scroll", "air_cooled_semi_hermetic", "refrigerant_cooled_semi_hermetic"}
	kind := r.IntN(3)
	for i := range comps {
		w("  [[suction_group.compressor]]\n  name = \"c%d\"\n  kind = %q\n  capacity_kw = %.2f", i+1, kinds[kind], 1.35*total/float64(comps))
		if r.IntN(2) == 0 && i == 0 {
			w("  minimum_speed = 0.5")
		}
	}
	struck := r.IntN(circs)
	for i := range circs {
		dk := "electric"
		if !lt && r.IntN(2) == 0 {
			dk = "off_cycle"
		} else if lt && r.IntN(3) == 0 {
			dk = "hot_gas"
		}
		if i == struck && t.Fault == "hot_gas_drain" {
			dk = "hot_gas"
		} else if i == struck && t.Fault == "defrost_incomplete" {
			dk = "electric"
		}
		w("  [[suction_group.circuit]]\n  name = \"k%d\"\n  load_kw = %.2f\n  air_c = %g\n  tap = %d", i+1, load[i], air+2*r.Float64(), 1+i%comps)
		if r.IntN(4) == 0 {
			w("  thermostat_k = %.1f", 1.5+r.Float64())
		}
		valve := "thermostatic"
		if r.IntN(3) == 0 {
			valve = "electronic"
		}
		w("    [suction_group.circuit.valve]\n    kind = %q", valve)
		term := 10.0
		if dk == "off_cycle" {
			term = 5
		}
		w("    [suction_group.circuit.defrost]\n    kind = %q\n    first_min = %.0f\n    termination_c = %g\n    drip_s = %.0f\n    signal_covers_drip = %v",
			dk, 25+360*r.Float64(), term, 100+200*r.Float64(), r.IntN(2) == 0)
	}
	for _, f := range faults {
		if f.name != t.Fault {
			continue
		}
		at := -400.0
		if f.name == "iced_coil" || f.name == "low_airflow" {
			at = 60 + 60*r.Float64()
		}
		w("[[fault]]\nkind = %q\ntarget = \"g.k%d\"\nat_min = %.0f\namount = %.2f", f.name, struck+1, at, f.amount(r))
		c.Fault.Causes = f.causes
		c.Fault.Circuit = fmt.Sprintf("k%d", struck+1)
	}
	c.Name = fmt.Sprintf("seed %d %s signals %v", t.Seed, t.Fault, t.Signals)
	return b.String(), c
}

// Run plays the trial through the analysis and adds its scores.
func (t Trial) Run(tally, base *Tally) (err error) {
	defer func() {
		if r := recover(); r != nil { // a plant that breaks is told, not hidden
			err = fmt.Errorf("seed %d fault %q: the plant or the analysis broke: %v", t.Seed, t.Fault, r)
		}
	}()
	text, c := t.describe()
	d, err := scenarios.Decode("bench.toml", text)
	if err != nil {
		return err
	}
	p, err := plant.New(d, t.Seed)
	if err != nil {
		return err
	}
	site, err := siteOf(&d, p)
	if err != nil {
		return err
	}
	play, err := newPlayer(site, &c)
	if err != nil {
		return err
	}
	floor := floors(site)
	truth := make([]Truth, len(c.Machines))
	var row reading.Row
	for s := time.Duration(0); s.Hours() < t.Hours; s += t.Sampling {
		row.Time = p.Now()
		row.Readings = row.Readings[:0]
		for i := range p.Inputs() {
			if v, ok := p.Value(i); ok {
				row.Readings = append(row.Readings, reading.Reading{Point: i, Time: row.Time, Value: v, Quality: reading.Good})
			} else if why := p.Reason(i); why != "" {
				row.Readings = append(row.Readings, reading.Reading{Point: i, Time: row.Time, Quality: reading.QualityOf(why), Reason: why})
			}
		}
		for i, x := range p.Truth() {
			told := phaseOf(x.Phase)
			truth[i] = Truth{Phase: told, Superheat: x.SuperheatK, Liquid: x.LiquidFraction, Floor: floor[i].In(told)}
		}
		play.step(&row, truth)
		p.Step(t.Sampling)
	}
	play.score(tally, base)
	return nil
}

var roles = map[string]reading.Role{
	"suction_pressure": reading.SuctionPressure, "discharge_pressure": reading.DischargePressure,
	"suction_temperature": reading.SuctionTemperature, "running": reading.Running,
	"discharge_temperature": reading.DischargeTemperature, "sump_temperature": reading.SumpTemperature,
	"defrost": reading.Defrost, "coil_outlet_temperature": reading.CoilOutletTemperature, "air_temperature": reading.AirTemperature,
}

// siteOf describes the plant to the analysis as a configuration would.
func siteOf(d *plant.Description, p *plant.Plant) (analyze.Site, error) {
	site := analyze.Site{Name: d.Site, Atmosphere: 101325}
	for _, g := range d.Groups {
		fluid, err := refrigerant.Lookup(g.Refrigerant)
		if err != nil {
			return site, err
		}
		a := analyze.Group{Name: g.Name, Refrigerant: fluid, Ambient: 24}
		for _, c := range g.Compressors {
			kind := floodback.KindNotTold
			switch c.Kind {
			case "scroll":
				kind = floodback.Scroll
			case "air_cooled_semi_hermetic":
				kind = floodback.AirCooledSemiHermetic
			case "refrigerant_cooled_semi_hermetic":
				kind = floodback.RefrigerantCooledSemiHermetic
			}
			a.Compressors = append(a.Compressors, analyze.Compressor{Name: c.Name, Kind: kind})
		}
		for _, c := range g.Circuits {
			kind := phase.Electric
			switch c.Defrost.Kind {
			case "off_cycle":
				kind = phase.OffCycle
			case "hot_gas":
				kind = phase.HotGas
			}
			a.Circuits = append(a.Circuits, analyze.Circuit{Name: c.Name, Defrost: kind})
		}
		site.Groups = append(site.Groups, a)
	}
	for _, in := range p.Inputs() {
		part := strings.Split(in.Path, ".")
		role, ok := roles[part[len(part)-1]]
		if !ok {
			return site, fmt.Errorf("input %q has no role", in.Path)
		}
		pt := reading.Point{Path: in.Path, Group: part[0], Role: role}
		if len(part) == 3 {
			pt.Member = part[1]
		}
		site.Points = append(site.Points, pt)
	}
	return site, nil
}
