package superheat

import (
	"fmt"
	"math"
	"sort"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// Rectangular returns the standard uncertainty of a quantity known only to lie
// within ±a (JCGM 100:2008, 4.3.7): a/√3.
func Rectangular(a float64) float64 { return math.Abs(a) / math.Sqrt(3) }

// FromExpanded returns the standard uncertainty of a quantity stated with
// expanded uncertainty and coverage factor k (JCGM 100:2008, 4.3.3).
func FromExpanded(expanded, k float64) float64 { return math.Abs(expanded) / k }

// Combine returns the combined standard uncertainty of independent parts
// (JCGM 100:2008, 5.1.2, equation 10, sensitivities already applied).
func Combine(parts ...float64) float64 {
	sum := 0.0
	for _, u := range parts {
		sum += u * u
	}
	return math.Sqrt(sum)
}

// Expand returns the expanded uncertainty (JCGM 100:2008, 6.2.1).
func Expand(u, k float64) float64 { return k * u }

// Coverage is the coverage factor of every expanded uncertainty that dewgap
// shows: about 95 %.
const Coverage = 2

// Terms are what the uncertainty of a superheat is made of, each with whether
// it was stated or is assumed.
type Terms struct {
	Pressure        float64 // half-width, Pa
	Temperature     float64 // half-width, K
	Mounting        float64 // half-width, K
	Weather         float64 // half-width of the air's pressure, Pa; 0 for an absolute or sealed transmitter
	Table           float64 // standard uncertainty of the dew line, K
	Lag             time.Duration
	LagSpread       float64 // half-width of the time constant, share of it
	PressureAssumed bool
	TempAssumed     bool
	MountAssumed    bool
	LagAssumed      bool
	LagFits         int // changes of pressure that Lag was learned from; 0: it was not
}

// NewTerms takes what is stated of the two sensors and fills in the typical
// installation for the rest.
func NewTerms(line DewLine, pressure, temperature Sensor) Terms {
	t := Terms{
		Pressure: pressure.Limit, Temperature: temperature.Limit,
		Mounting: float64(temperature.Mounting), Lag: temperature.Lag, LagSpread: lagSpreadStated,
		Table: FromExpanded(float64(line.Uncertainty()), Coverage),
	}
	if t.Pressure <= 0 {
		t.Pressure, t.PressureAssumed = TypicalPressureLimit, true
	}
	if t.Temperature <= 0 {
		t.Temperature, t.TempAssumed = TypicalTemperatureLimit, true
	}
	if t.Mounting <= 0 {
		t.Mounting, t.MountAssumed = float64(TypicalMounting), true
	}
	if t.Lag <= 0 {
		t.Lag, t.LagSpread, t.LagAssumed = TypicalLag, lagSpreadAssumed, true
	}
	if pressure.Gauge && !pressure.Sealed {
		t.Weather = TypicalWeather
	}
	return t
}

func (t Terms) fixedVariance() float64 {
	u, m := Rectangular(t.Temperature), Rectangular(t.Mounting)
	return u*u + m*m + t.Table*t.Table
}

func (t Terms) slopeVariance(slope float64) float64 {
	p, w := Rectangular(slope*t.Pressure), Rectangular(slope*t.Weather)
	return p*p + w*w
}

// Part is one line of a budget.
type Part struct {
	Name        string
	HalfWidth   float64 // as stated, in Unit; for the table its expanded uncertainty
	Unit        string
	Sensitivity float64      // K per Unit
	Standard    units.Kelvin // contribution to the superheat, standard uncertainty
	Share       float64      // of the variance, 0 to 1
	Assumed     bool         // not stated: the typical installation is taken
	Note        evidence.Item
}

// Limit writes the half-width in the units of people.
func (p Part) Limit(people units.System) string {
	switch {
	case p.Unit == "K":
		return people.Difference(units.Kelvin(p.HalfWidth))
	case people == units.US:
		return fmt.Sprintf("%.2g psi", p.HalfWidth*1e5/pascalsPerPSI)
	}
	return fmt.Sprintf("%.2g %s", p.HalfWidth, p.Unit)
}

const pascalsPerPSI = 6894.757 // NIST SP 811

// Budget is where the uncertainty of a superheat comes from.
type Budget struct {
	Parts    []Part // largest first
	Standard units.Kelvin
	Expanded units.Kelvin // k = 2
	Lag      LagSource
}

// LagSource is the time constant in use and where it comes from.
type LagSource struct {
	Lag     time.Duration
	Spread  float64 // half-width, share of Lag
	Assumed bool    // neither stated nor learned
	Fits    int     // changes of pressure that it was learned from; 0: it was not learned
}

// Source is "configured", "learned" or "assumed".
func (l LagSource) Source() string {
	switch {
	case l.Fits > 0:
		return "learned"
	case l.Assumed:
		return "assumed"
	}
	return "configured"
}

// During returns the expanded uncertainty that the spread of the lag adds while
// the dew temperature moves by so much a minute: behind a first-order lag the
// error is rate × time constant.
func (l LagSource) During(aMinute units.Kelvin) units.Kelvin {
	return units.Kelvin(Expand(Rectangular(l.Spread*l.Lag.Minutes()*float64(aMinute)), Coverage))
}

// Evidence returns the time constant with its spread and where it comes from.
func (l LagSource) Evidence() evidence.Item {
	lag, spread := evidence.Duration("lag", l.Lag), evidence.Share("spread", l.Spread)
	switch {
	case l.Fits > 0:
		return evidence.New(evidence.SensorLagLearned, lag, spread, evidence.Count("changes", l.Fits))
	case l.Assumed:
		return evidence.New(evidence.SensorLagAssumed, lag, spread)
	}
	return evidence.New(evidence.SensorLagConfigured, lag, spread)
}

// Budget returns the parts at a dew slope in K/Pa while the delayed dew differs
// from the present one by ramp.
func (t Terms) Budget(slope float64, ramp units.Kelvin) Budget {
	parts := []Part{
		{Name: "pressure", HalfWidth: t.Pressure / 1e5, Unit: "bar", Sensitivity: slope * 1e5, Assumed: t.PressureAssumed},
		{Name: "temperature", HalfWidth: t.Temperature, Unit: "K", Sensitivity: 1, Assumed: t.TempAssumed},
		{Name: "mounting", HalfWidth: t.Mounting, Unit: "K", Sensitivity: 1, Assumed: t.MountAssumed,
			Note: evidence.New(evidence.ClampReadsHigh)},
		{Name: "weather", HalfWidth: t.Weather / 1e5, Unit: "bar", Sensitivity: slope * 1e5,
			Note: evidence.New(evidence.WeatherShared)},
		{Name: "lag", HalfWidth: t.LagSpread * math.Abs(float64(ramp)), Unit: "K", Sensitivity: 1, Assumed: t.LagAssumed,
			Note: evidence.New(evidence.LagWhileDewMoves)},
		{Name: "table", HalfWidth: t.Table * Coverage, Unit: "K", Sensitivity: 1},
	}
	var b Budget
	sum := 0.0
	for i := range parts {
		p := &parts[i]
		u := Rectangular(p.HalfWidth * p.Sensitivity)
		if p.Name == "table" {
			u = t.Table
		}
		p.Standard = units.Kelvin(u)
		sum += u * u
	}
	for i := range parts {
		if sum > 0 {
			parts[i].Share = float64(parts[i].Standard*parts[i].Standard) / sum
		}
	}
	sort.SliceStable(parts, func(i, j int) bool { return parts[i].Standard > parts[j].Standard })
	b.Parts = parts
	b.Lag = LagSource{t.Lag, t.LagSpread, t.LagAssumed, t.LagFits}
	b.Standard = units.Kelvin(math.Sqrt(sum))
	b.Expanded = units.Kelvin(Expand(math.Sqrt(sum), Coverage))
	return b
}

// FloorWarning returns a problem and its remedy where a floor is not above the
// expanded uncertainty of the superheat that is compared with it; ok is false
// where it is above. The remedy names the largest part of the budget.
func (b *Budget) FloorWarning(floor units.Kelvin) (problem, remedy evidence.Item, ok bool) {
	if floor > b.Expanded || len(b.Parts) == 0 {
		return evidence.Item{}, evidence.Item{}, false
	}
	problem = evidence.New(evidence.FloorWithinUncertainty, evidence.Difference("floor", floor), evidence.Difference("uncertainty", b.Expanded))
	return problem, evidence.New(evidence.ImproveOrRaiseFloor, evidence.Name("part", b.Parts[0].Name)), true
}

// Once returns the superheat and its budget for one steady pair of readings,
// as a person takes it with a gauge and a thermometer.
func Once(line DewLine, p units.Pascal, t units.Celsius, pressure, temperature Sensor) (Value, Budget, error) {
	dew, err := line.Dew(p)
	if err != nil {
		return unknown, Budget{}, fmt.Errorf("dew temperature: %w", err)
	}
	slope, err := line.DewSlope(p)
	if err != nil {
		return unknown, Budget{}, fmt.Errorf("slope of the dew line: %w", err)
	}
	b := NewTerms(line, pressure, temperature).Budget(slope, 0)
	v := Value{Superheat: t.Above(dew), DelayedDew: dew, Dew: dew, Pressure: p, Temperature: t, Uncertainty: b.Expanded}
	v.Quality = reading.Good
	return v, b, nil
}
