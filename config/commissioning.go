package config

import (
	"fmt"
	"slices"
	"time"

	"dewgap/analyze/setting"
	"dewgap/analyze/units"
)

// Commissioning are the criteria by which a defrost cycle is signed off. The
// rows of [commissioning] give the meaning of each.
type Commissioning struct {
	BelowFloor      time.Duration
	OverUncertainty units.Kelvin
	Steady          time.Duration
	SteadyAbove     float64 // 0 to 1
	Uncertainty     float64 // 0 to 1
	Watched         time.Duration
	Recovered       time.Duration
	SumpOverDew     units.Kelvin
	Discharge       units.Kelvin
	Plateau         units.Kelvin
	Known           float64 // 0 to 1
	Passes          int
	RemarkOnly      []string
}

// CommissioningCriteria are the names of all criteria, in the order of the record.
var CommissioningCriteria = []string{
	"floor", "above_dew", "floodback", "start", "second_dip", "recovered", "steady", "hunting", "uncertainty",
	"discharge", "sump", "termination", "plateau", "equalised",
}

const (
	maxCriterion units.Kelvin = 60
	maxWatched                = 6 * time.Hour
)

// commissioningRows are the keys of [commissioning].
var commissioningRows = []setting.Row[Commissioning]{
	{
		Key: "watched", Field: setting.Within(func(c *Commissioning) *time.Duration { return &c.Watched }, 20*time.Minute, time.Minute, maxWatched),
		Meaning: "A cycle is judged from the defrost's begin until its pulldown is over, and at least this long after the restart.", Example: `"20 min"`, Source: practice,
	},
	{
		Key: "below_floor", Field: setting.Within(func(c *Commissioning) *time.Duration { return &c.BelowFloor }, 30*time.Second, 0, time.Hour),
		Meaning: "Longest time below the floor in one cycle, all dips together.", Example: `"30 s"`, Source: practice,
	},
	{
		Key: "over_uncertainty", Field: setting.Within(func(c *Commissioning) *units.Kelvin { return &c.OverUncertainty }, 0, -maxCriterion, maxCriterion),
		Meaning: "Least value of the lowest superheat less its expanded uncertainty.", Example: `"0 K"`, Source: practice,
	},
	{
		Key: "steady", Field: setting.Within(func(c *Commissioning) *time.Duration { return &c.Steady }, time.Hour, 0, 24*time.Hour),
		Meaning: "Steady running that is judged with each cycle.", Example: `"1 h"`, Source: practice,
	},
	{
		Key: "steady_above", Field: setting.Within(func(c *Commissioning) *float64 { return &c.SteadyAbove }, 0.99, 0, 1),
		Meaning: "Least share of the steady running at or above the floor.", Example: `"99 %"`, Source: practice,
	},
	{
		Key: "uncertainty", Field: setting.Within(func(c *Commissioning) *float64 { return &c.Uncertainty }, 0.5, 0, 1),
		Meaning: "Greatest expanded uncertainty of the superheat, as a share of the floor.", Example: `"50 %"`, Source: practice,
	},
	{
		Key: "recovered", Field: setting.Within(func(c *Commissioning) *time.Duration { return &c.Recovered }, time.Hour, time.Minute, maxWatched),
		Meaning: "Longest time from the restart until the circuit's load is back within 10 %.", Example: `"1 h"`, Source: practice,
	},
	{
		Key: "sump_over_dew", Field: setting.Within(func(c *Commissioning) *units.Kelvin { return &c.SumpOverDew }, 10, 0, maxCriterion),
		Meaning: "Least temperature of the oil sump over suction dew while running.", Example: `"10 K"`, Source: practice,
	},
	{
		Key: "discharge", Field: setting.Within(func(c *Commissioning) *units.Kelvin { return &c.Discharge }, 2, 0, maxCriterion),
		Meaning: "How far the discharge may head below dry gas of zero superheat.", Example: `"2 K"`, Source: practice,
	},
	{
		Key: "plateau", Field: setting.Within(func(c *Commissioning) *units.Kelvin { return &c.Plateau }, 1, 0, 10),
		Meaning: "How far a coil sensor may lie from 0 °C while ice melts.", Example: `"1 K"`, Source: practice,
	},
	{
		Key: "known", Field: setting.Within(func(c *Commissioning) *float64 { return &c.Known }, 0.98, 0, 1),
		Meaning: "Least share of a cycle's running in which the superheat must be known.", Example: `"98 %"`, Source: practice,
	},
	{
		Key: "passes", Field: setting.Within(func(c *Commissioning) *int { return &c.Passes }, 3, 1, 100),
		Meaning: "Cycles of a circuit that must pass in a row.", Example: "3", Source: practice,
	},
	{
		Key:     "remark_only",
		Field:   setting.Plain(func(c *Commissioning) *[]string { return &c.RemarkOnly }, []string{"second_dip", "recovered", "hunting", "termination", "plateau", "equalised"}),
		Meaning: "Criteria that make a remark where the others fail a cycle.", Example: `["hunting", "termination"]`,
	},
}

func (b *builder) commissioning(root *table) {
	c := &b.config.Commissioning
	*c = setting.Defaults(commissioningRows)
	c.RemarkOnly = slices.Clone(c.RemarkOnly)
	t, ok := root.inner("commissioning", `{ below_floor = "30 s", passes = 3 }`)
	if !ok {
		return
	}
	read(t, commissioningRows, c)
	for _, name := range c.RemarkOnly {
		if !slices.Contains(CommissioningCriteria, name) {
			t.fault("remark_only", fmt.Sprintf("%q is no criterion", name), oneOf(CommissioningCriteria)+didYouMean(name, CommissioningCriteria))
		}
	}
	t.done()
}
