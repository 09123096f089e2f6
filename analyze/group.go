package analyze

import (
	"errors"
	"fmt"
	"math"
	"time"

	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/sensorcheck"
	"dewgap/analyze/superheat"
	"dewgap/analyze/trend"
	"dewgap/analyze/units"
)

// noPoint is the index of an input that does not exist.
const noPoint = -1

// group is one suction group as the engine follows it.
type group struct {
	spec  *Group
	first int // index of its first compressor over the site
	// firstCircuit is the index of its first circuit over the site.
	firstCircuit int
	line         *refrigerant.Fluid
	air          units.Pascal
	detect       floodback.Settings

	suctionPressure, dischargePressure, ambient int // points
	compressors                                 []compressor
	circuits                                    []circuit

	phases  *phase.Group
	checker *sensorcheck.Checker
	coils   *cause.Group
	trends  *trend.Group
	frame   frame.Frame

	condensingAt, condensingDew float64
}

// compressor is one compressor as the engine follows it.
type compressor struct {
	suctionPressure, suctionTemperature, running int // points
	dischargeTemperature, sumpTemperature, speed int

	meter superheat.Meter
	learn *superheat.LagLearner // nil where the lag is stated
	value *superheat.Value      // in the group's frame
	set   floodback.Set
	cause cause.Diagnosis
	// limitedAt is the interval between readings that its limits are written for.
	limitedAt time.Duration
}

type circuit struct {
	defrost, coilInlet, coilOutlet, air int // points
}

func newGroup(spec *Group, air units.Pascal, first int) (*group, error) {
	if spec.Refrigerant == nil {
		return nil, errors.New("has no refrigerant")
	}
	if len(spec.Compressors) == 0 {
		return nil, errors.New("has no compressor")
	}
	g := &group{
		spec: spec, first: first, line: spec.Refrigerant, air: air, detect: spec.Detect.WithDefaults(),
		suctionPressure: noPoint, dischargePressure: noPoint, ambient: noPoint,
		condensingAt: math.NaN(), condensingDew: math.NaN(),
	}
	kinds := make([]frame.DefrostKind, len(spec.Circuits))
	for i := range spec.Circuits {
		kinds[i] = spec.Circuits[i].Defrost
		g.circuits = append(g.circuits, circuit{noPoint, noPoint, noPoint, noPoint})
	}
	names := make([]string, len(spec.Circuits))
	for i := range names {
		names[i] = spec.Circuits[i].Name
	}
	g.coils = cause.NewGroup(names, len(spec.Compressors))
	for i := range spec.Compressors {
		g.compressors = append(g.compressors, compressor{
			suctionPressure: noPoint, suctionTemperature: noPoint, running: noPoint,
			dischargeTemperature: noPoint, sumpTemperature: noPoint, speed: noPoint,
			set: floodback.NewSet(&g.detect, g.line, first+i), cause: cause.NewDiagnosis(g.coils, i),
		})
	}
	machines := make([]string, len(spec.Compressors))
	for i := range machines {
		machines[i] = spec.Compressors[i].Name
	}
	g.trends = trend.NewGroup(spec.Name, names, machines, g.detect.Floor.Pulldown)
	g.phases = phase.NewGroup(spec.Phase, len(spec.Compressors), kinds)
	g.frame.Compressors = make([]frame.Compressor, len(spec.Compressors))
	g.frame.Circuits = make([]frame.Circuit, len(spec.Circuits))
	for i := range spec.Compressors {
		g.frame.Compressors[i].Kind = spec.Compressors[i].Kind
	}
	for i := range spec.Circuits {
		g.frame.Circuits[i] = frame.Circuit{Kind: spec.Circuits[i].Defrost, CoilInlet: units.Celsius(nan)}
	}
	return g, nil
}

// place returns where the index of p belongs, and the compressor's index in
// the group when it belongs to one, else −1.
func (g *group) place(p *reading.Point) (*int, int, error) {
	if p.Member == "" {
		switch p.Role {
		case reading.SuctionPressure:
			return &g.suctionPressure, -1, nil
		case reading.DischargePressure:
			return &g.dischargePressure, -1, nil
		case reading.AmbientTemperature:
			return &g.ambient, -1, nil
		}
		return nil, 0, errors.New("is of a kind that a group does not have")
	}
	for i := range g.spec.Compressors {
		if g.spec.Compressors[i].Name != p.Member {
			continue
		}
		c := &g.compressors[i]
		switch p.Role {
		case reading.SuctionPressure:
			return &c.suctionPressure, i, nil
		case reading.SuctionTemperature:
			return &c.suctionTemperature, i, nil
		case reading.Running:
			return &c.running, i, nil
		case reading.DischargeTemperature:
			return &c.dischargeTemperature, i, nil
		case reading.SumpTemperature:
			return &c.sumpTemperature, i, nil
		case reading.Speed:
			return &c.speed, i, nil
		}
		return nil, 0, errors.New("is of a kind that a compressor does not have")
	}
	for i := range g.spec.Circuits {
		if g.spec.Circuits[i].Name != p.Member {
			continue
		}
		c := &g.circuits[i]
		switch p.Role {
		case reading.Defrost:
			return &c.defrost, -1, nil
		case reading.CoilInletTemperature:
			return &c.coilInlet, -1, nil
		case reading.CoilOutletTemperature:
			return &c.coilOutlet, -1, nil
		case reading.AirTemperature:
			return &c.air, -1, nil
		}
		return nil, 0, errors.New("is of a kind that a circuit does not have")
	}
	return nil, 0, fmt.Errorf("names %q, which group %q has not", p.Member, g.spec.Name)
}

// ready completes the group when all its points have their places.
func (g *group) ready(inputs []input, points []reading.Point, sensors []superheat.Sensor) {
	stated := func(point int, base superheat.Sensor) superheat.Sensor {
		if point == noPoint || len(sensors) == 0 {
			return base
		}
		return sensors[point].Over(base)
	}
	for i := range g.compressors {
		c := &g.compressors[i]
		if c.suctionPressure == noPoint {
			c.suctionPressure = g.suctionPressure
		}
		c.meter = superheat.NewMeter(g.line,
			stated(c.suctionPressure, g.spec.Superheat.Pressure),
			stated(c.suctionTemperature, g.spec.Superheat.Temperature))
		if c.meter.LagAssumed() && c.suctionPressure != noPoint && c.suctionTemperature != noPoint {
			c.learn = new(superheat.LagLearner)
		}
	}
	g.watch(inputs, points)
}

// watch gives the group's inputs to the sensor check.
func (g *group) watch(inputs []input, points []reading.Point) {
	of := func(point int) sensorcheck.Input {
		if point == noPoint {
			return sensorcheck.Input{}
		}
		return sensorcheck.Input{Point: point, Signal: inputs[point].signal, Unit: points[point].Unit}
	}
	w := sensorcheck.Group{Fluid: g.line, Atmosphere: g.air, DischargePressure: of(g.dischargePressure)}
	for i := range g.compressors {
		c := &g.compressors[i]
		w.Compressors = append(w.Compressors, sensorcheck.Compressor{
			Pressure: of(c.suctionPressure), Temperature: of(c.suctionTemperature),
			Discharge: of(c.dischargeTemperature), Sump: of(c.sumpTemperature),
		})
	}
	for i := range g.circuits {
		w.Circuits = append(w.Circuits, sensorcheck.Circuit{CoilOutlet: of(g.circuits[i].coilOutlet), CoilInlet: of(g.circuits[i].coilInlet), Air: of(g.circuits[i].air)})
	}
	g.checker = sensorcheck.New(w)
	for i := range g.compressors {
		g.compressors[i].value = &g.frame.Compressors[i].Inlet
		*g.compressors[i].value = notMeasured
	}
}

// absent is an input that the site does not have.
var absent = &evidence.Item{Code: evidence.NoInput}

// observe analyses the group at one instant, and reports whether the notices of
// its trends were renewed.
func (g *group) observe(at int64, interval reading.Interval, e *Engine) (renewed bool) {
	x := &g.frame
	x.At, x.Step, x.LongGap = at, int64(interval.Watched), interval.Long
	x.SuctionPressure, x.Dew = units.Pascal(nan), units.Celsius(nan)
	x.DischargePressure = units.Pascal(e.value(g.dischargePressure))
	x.CondensingDew = units.Celsius(g.condensing(float64(x.DischargePressure)))
	x.Ambient = units.Celsius(e.value(g.ambient))
	if !finite(float64(x.Ambient)) {
		x.Ambient = g.spec.Ambient
	}
	for i := range g.compressors {
		g.measure(i, at, e)
	}
	for i := range g.circuits {
		c := &g.circuits[i]
		y := &x.Circuits[i]
		y.Signal = e.onOff(c.defrost)
		y.CoilInlet = units.Celsius(e.value(c.coilInlet))
		y.CoilOutlet, y.Air = units.Celsius(e.value(c.coilOutlet)), units.Celsius(e.value(c.air))
	}
	phases := g.phases.Observe(x)
	g.checker.Observe(x)
	g.coils.Observe(x)
	for i := range x.Circuits {
		e.result.Stages[g.firstCircuit+i] = x.Circuits[i].Stage
	}
	for i := range g.compressors {
		g.judge(i, phases[i], e)
		g.withdraw(i, e)
		g.learnLag(i, phases[i], e)
	}
	return g.trends.Observe(x)
}

// measure takes one compressor's superheat and what else phases need of it.
func (g *group) measure(i int, at int64, e *Engine) {
	c := &g.compressors[i]
	switch {
	case c.suctionPressure == noPoint:
		*c.value = notMeasured
	case c.suctionTemperature == noPoint:
		none := superheat.NewSignal(reading.SuctionTemperature, 0)
		c.meter.Observe(at, e.inputs[c.suctionPressure].suction, &none, c.value)
		c.value.Quality, c.value.Reason = reading.Missing, absent
	default:
		c.meter.Observe(at, e.inputs[c.suctionPressure].suction, e.inputs[c.suctionTemperature].signal, c.value)
	}
	x := &g.frame
	y := &x.Compressors[i]
	y.Speed = e.value(c.speed)
	y.Signal = runs(e.onOff(c.running), y.Speed)
	y.Discharge = units.Celsius(e.value(c.dischargeTemperature))
	y.Sump = units.Celsius(e.value(c.sumpTemperature))
	if !finite(float64(x.Dew)) {
		x.SuctionPressure, x.Dew = c.value.Pressure, c.value.Dew
	}
}

// minRunningSpeed is the share of full in % above which a compressor runs.
// Common practice, no source: drives stop well above it, and it is above what a
// stopped drive's analogue output shows.
const minRunningSpeed = 5

// runs returns the running signal, or where that is not known what the speed
// in % of full shows.
func runs(signal frame.Tristate, speed float64) frame.Tristate {
	if signal != frame.Unset || math.IsNaN(speed) {
		return signal
	}
	return frame.Of(speed > minRunningSpeed)
}

// judge writes one compressor's state and asks the detectors. Both are filled
// in place: to build and copy them costs more than what is done with them.
func (g *group) judge(i int, p frame.Phase, e *Engine) {
	c, v := &g.compressors[i], g.compressors[i].value
	floor := g.detect.Floor.In(p)
	st := &e.result.States[g.first+i] // New wrote its names
	st.Time, st.Phase, st.Quality, st.Reason = e.result.Time, p, v.Quality, v.Reason
	st.Superheat, st.Floor, st.Margin, st.Uncertainty = v.Superheat, floor, v.Superheat-floor, v.Uncertainty
	st.SuctionPressure, st.Dew, st.SuctionTemperature = v.Pressure, v.Dew, v.Temperature
	if p == frame.Off {
		st.Superheat, st.Margin = units.Kelvin(nan), units.Kelvin(nan)
	}
	x, y := &g.frame, &g.frame.Compressors[i]
	st.Running = y.Running
	y.Interval = int64(e.interval(c))
	y.Lag, y.Floor, y.Margin = float64(c.meter.Lag())*1e-9, floor, v.Superheat-floor
	first := len(e.result.Findings)
	e.result.Findings = c.set.Step(x, i, e.result.Findings)
	if first < len(e.result.Findings) {
		if f := &e.result.Findings[first]; f.Kind == floodback.Floodback && f.Verdict == floodback.Present {
			f.Circuits, f.Causes = c.cause.Update(x, c.set.LiquidAtMost(), c.set.Hunts())
		}
	}
}

// interval returns the time between readings of the slower input of a superheat.
func (e *Engine) interval(c *compressor) time.Duration {
	if c.suctionPressure == noPoint || c.suctionTemperature == noPoint {
		return 0
	}
	return max(e.inputs[c.suctionPressure].signal.Interval(), e.inputs[c.suctionTemperature].signal.Interval())
}

// withdraw ends the floodback of a compressor whose inputs are shown never to
// have been right.
func (g *group) withdraw(i int, e *Engine) {
	c := &g.compressors[i]
	if why := g.checker.Disproves(c.suctionPressure, c.suctionTemperature); why != nil {
		e.result.Findings = append(e.result.Findings, Finding{Kind: floodback.Floodback, Compressor: g.first + i, Input: noPoint,
			Verdict: floodback.Unknown, Withdraw: why})
	}
}

// learnLag lets the time constant of a pipe's sensor be learned where it is
// not stated.
func (g *group) learnLag(i int, p frame.Phase, e *Engine) {
	c := &g.compressors[i]
	if c.learn == nil {
		return
	}
	runs := p != frame.Off && p != frame.Unknown && c.value.Quality == reading.Good
	if c.learn.Observe(g.frame.At, float64(c.value.Dew), float64(c.value.Temperature), e.inputs[c.suctionPressure].suction.Delay(), runs) {
		if tau, doubt, fits, ok := c.learn.Lag(); ok {
			c.meter.SetLag(tau, doubt, fits)
		}
	}
}

var nan = math.NaN()

var notMeasured = superheat.Value{
	Superheat: units.Kelvin(nan), DelayedDew: units.Celsius(nan), Dew: units.Celsius(nan), Pressure: units.Pascal(nan),
	Temperature: units.Celsius(nan), Uncertainty: units.Kelvin(nan), Quality: reading.Missing, Reason: absent,
}

// condensing returns the dew temperature of the discharge pressure.
func (g *group) condensing(p float64) float64 {
	if !finite(p) {
		return nan // no such input: not worth an error to build and throw away
	}
	if p != g.condensingAt {
		g.condensingAt, g.condensingDew = p, nan
		if t, err := g.line.Dew(units.Pascal(p)); err == nil {
			g.condensingDew = float64(t)
		}
	}
	return g.condensingDew
}

// value returns what is known of a point; NaN when it does not exist.
func (e *Engine) value(point int) float64 {
	if point == noPoint {
		return nan
	}
	return e.result.Inputs[point].Value
}

// onOff returns what is known of a switch.
func (e *Engine) onOff(point int) frame.Tristate {
	v := e.value(point)
	switch {
	case math.IsNaN(v):
		return frame.Unset
	default:
		return frame.Of(v >= 0.5)
	}
}
