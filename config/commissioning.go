package config

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"dewgap/analyze/units"
)

// Commissioning are the criteria by which a defrost cycle is signed off.
type Commissioning struct {
	BelowFloor      time.Duration // longest time below the floor in one cycle, all dips together
	OverUncertainty units.Kelvin  // lowest superheat less its expanded uncertainty, at least
	Steady          time.Duration // steady running that is judged with each cycle
	SteadyAbove     float64       // share of it at or above the floor, at least
	Uncertainty     float64       // expanded uncertainty as a share of the floor, at most
	Watched         time.Duration // how long superheat is judged after the restart, at least; longer pulldowns whole
	Recovered       time.Duration // longest time from restart to the load before
	SumpOverDew     units.Kelvin  // oil sump over suction dew while running, at least
	Discharge       units.Kelvin  // how far discharge may head below dry gas at 0 K
	Plateau         units.Kelvin  // how far the melting plateau may lie from 0 °C
	Known           float64       // share of a cycle's running in which superheat must be known
	Passes          int           // cycles of a circuit that must pass in a row
	// RemarkOnly names the criteria that make a remark where others fail.
	RemarkOnly []string
}

// CommissioningCriteria are the names of all criteria, in the order of the record.
var CommissioningCriteria = []string{
	"floor", "above_dew", "floodback", "start", "second_dip", "recovered", "steady", "hunting", "uncertainty",
	"discharge", "sump", "termination", "plateau", "equalised",
}

// defaultCommissioning: shared trade notes, section 16 (common practice).
func defaultCommissioning() Commissioning {
	return Commissioning{
		BelowFloor: 30 * time.Second, OverUncertainty: 0,
		Steady: time.Hour, SteadyAbove: 0.99, Uncertainty: 0.5,
		Watched: 20 * time.Minute, Recovered: time.Hour, SumpOverDew: 10, Discharge: 2, Plateau: 1, Known: 0.98, Passes: 3,
		RemarkOnly: []string{"second_dip", "recovered", "hunting", "termination", "plateau", "equalised"},
	}
}

func (b *builder) commissioning(root *table) {
	c := &b.config.Commissioning
	*c = defaultCommissioning()
	t, ok := root.inner("commissioning", `{ below_floor = "30 s", passes = 3 }`)
	if !ok {
		return
	}
	c.BelowFloor = t.durationOr("below_floor", c.BelowFloor, 0, time.Hour)
	c.Steady = t.durationOr("steady", c.Steady, 0, 24*time.Hour)
	c.Watched = t.durationOr("watched", c.Watched, time.Minute, 6*time.Hour)
	c.Recovered = t.durationOr("recovered", c.Recovered, time.Minute, 6*time.Hour)
	c.OverUncertainty = t.differenceOr("over_uncertainty", c.OverUncertainty, -highestFloor, highestFloor)
	c.SumpOverDew = t.differenceOr("sump_over_dew", c.SumpOverDew, 0, highestFloor)
	c.Discharge = t.differenceOr("discharge", c.Discharge, 0, highestFloor)
	c.Plateau = t.differenceOr("plateau", c.Plateau, 0, 10)
	c.SteadyAbove = t.shareOr("steady_above", c.SteadyAbove)
	c.Uncertainty = t.shareOr("uncertainty", c.Uncertainty)
	c.Known = t.shareOr("known", c.Known)
	c.Passes = int(t.wholeOr("passes", int64(c.Passes), 1, 100))
	if names, ok := t.texts("remark_only", `["hunting", "termination"]`); ok {
		c.RemarkOnly = names
		for _, name := range names {
			if !slices.Contains(CommissioningCriteria, name) {
				t.fault("remark_only", fmt.Sprintf("%q is no criterion", name), oneOf(CommissioningCriteria)+didYouMean(name, CommissioningCriteria))
			}
		}
	}
	t.done()
}

func (t *table) differenceOr(key string, standard, lowest, highest units.Kelvin) units.Kelvin {
	if d, ok := t.difference(key, lowest, highest); ok {
		return d
	}
	return standard
}

// shareOr reads a percentage as a share, 0 to 1.
func (t *table) shareOr(key string, standard float64) float64 {
	if share, ok := within(t, key, parseShare, 0, 1, func(x float64) string { return fmt.Sprintf("%g %%", 100*x) }); ok {
		return share
	}
	return standard
}

func parseShare(text string) (float64, error) {
	number, found := strings.CutSuffix(strings.TrimSpace(text), "%")
	x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if !found || err != nil || x-x != 0 {
		return 0, fmt.Errorf("%q is no share; write a percentage such as \"99 %%\"", text)
	}
	return x / 100, nil
}

// texts returns a list of texts.
func (t *table) texts(key, example string) ([]string, bool) {
	list, ok := take[[]any](t, key, "a list of texts, such as "+example)
	if !ok {
		return nil, false
	}
	texts := make([]string, len(list))
	for i, v := range list {
		if texts[i], ok = v.(string); !ok {
			t.fault(key, "holds "+describe(v), "write texts only, such as "+example)
			return nil, false
		}
	}
	return texts, true
}
