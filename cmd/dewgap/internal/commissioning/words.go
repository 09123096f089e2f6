package commissioning

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
	"dewgap/config"
)

// length writes seconds: "45 s", "9 min 20 s", "2 h 05 min".
func length(seconds float64) string {
	return units.Span(time.Duration(math.Round(seconds)) * time.Second)
}

// Length writes seconds; nil is unknown.
func Length(seconds *float64) string {
	if seconds == nil {
		return "–"
	}
	return length(*seconds)
}

func percent(share float64) string {
	if share > 0.9 && share < 1 {
		// Rounding must not turn 98.97 % into a 99 % that was met.
		return fmt.Sprintf("%.1f %%", math.Floor(share*1000)/10)
	}
	return fmt.Sprintf("%.3g %%", share*100)
}

// defrostName is the kind of defrost as the configuration writes it.
func defrostName(k frame.DefrostKind) string {
	return [...]string{"not stated", "off_cycle", "electric", "hot_gas"}[k]
}

// rulesOf writes the criteria out, in the order of the record.
func rulesOf(c config.Commissioning, view View) []Rule {
	difference := func(d units.Kelvin) string { return view.Difference(float64(d)) }
	texts := map[string]string{
		"floor":       fmt.Sprintf("From the beginning of the defrost until its pulldown is over, and for at least %s after the restart, the superheat stays at or above the floor but for at most %s in all.", length(c.Watched.Seconds()), length(c.BelowFloor.Seconds())),
		"above_dew":   fmt.Sprintf("In the same time the lowest superheat less its expanded uncertainty is at least %s.", difference(c.OverUncertainty)),
		"floodback":   "Analysis finds no wet gas: no floodback, minor or major.",
		"start":       fmt.Sprintf("Analysis finds no flooded start; a remark where the line is at dew for more than %s of the first 120 s after a start.", length(maxWetStart)),
		"second_dip":  "The superheat does not dip below the floor again once it has come back.",
		"recovered":   fmt.Sprintf("The circuit's load is back within 10 %% of what it was within %s of the restart.", length(c.Recovered.Seconds())),
		"steady":      fmt.Sprintf("Of %s of steady running next to the cycle, %s is at or above the floor.", length(c.Steady.Seconds()), percent(c.SteadyAbove)),
		"hunting":     "The superheat does not hunt.",
		"uncertainty": fmt.Sprintf("In steady running the expanded uncertainty is at most %s of the floor.", percent(c.Uncertainty)),
		"discharge":   fmt.Sprintf("The discharge does not head more than %s below dry gas at zero superheat for more than %s (where the machine's efficiency is learned); a remark where it implies a superheat below the floor that the line did not show.", difference(c.Discharge), length(c.BelowFloor.Seconds())),
		"sump":        fmt.Sprintf("While running, the oil sump stays at least %s above suction dew.", difference(c.SumpOverDew)),
		"termination": "The defrost ends with the coil past melting, and a heated one by temperature, not by time.",
		"plateau":     fmt.Sprintf("While ice melts the coil's sensor shows %s within %s.", view.Temperature(0), difference(c.Plateau)),
		"equalised":   "Stopped and equalised, the suction line and the dew of the standing pressure agree within the uncertainty.",
	}
	var rules []Rule
	for _, name := range config.CommissioningCriteria {
		rules = append(rules, Rule{Criterion: name, RemarkOnly: remarkOnly(c, name), Text: texts[name]})
	}
	return rules
}

func pulldownLimit(g *analyze.Group) time.Duration { return g.Phase.WithDefaults().PulldownLimit }

// Short writes what a check measured, without its sentence.
func (c Check) Short(view View) string {
	if c.Measured == nil {
		return ""
	}
	switch x := *c.Measured; c.Unit {
	case "s":
		return length(x)
	case "K":
		return view.Difference(x)
	case "share":
		return percent(x)
	default:
		return fmt.Sprintf("%.0f", x)
	}
}
