package config

import (
	"fmt"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/phase"
)

// phases reads [suction_group.phases]: what the phases are told by, each with a
// default (analyze/phase/settings.go, with its source). What the contract's
// section 5 fixes cannot be set.
func (b *builder) phases(group *table, g *analyze.Group) {
	p := &g.Phase
	*p = phase.Default()
	p.Drip = group.durationOr("drip", p.Drip, 0, time.Hour) // none where the signal lasts until it is over
	p.PulldownLimit = group.durationOr("pulldown_limit", p.PulldownLimit, time.Minute, 6*time.Hour)
	p.SignalLimit = group.durationOr("defrost_limit", p.SignalLimit, time.Minute, 6*time.Hour)
	t, ok := group.inner("phases", `{ pulldown_usual = "25 min", thermostat_pause = "15 min" }`)
	if !ok {
		return
	}
	p.PulldownLeast = t.durationOr("pulldown_least", p.PulldownLeast, 10*time.Second, time.Hour)
	p.TypicalPulldown = t.durationOr("pulldown_usual", p.TypicalPulldown, time.Minute, 6*time.Hour)
	p.LonePulldown = t.durationOr("pulldown_usual_lone", p.LonePulldown, time.Minute, 6*time.Hour)
	p.DripLimit = t.durationOr("drip_limit", p.DripLimit, time.Minute, time.Hour)
	p.SignalLeast = t.durationOr("defrost_doubt", p.SignalLeast, time.Minute, 6*time.Hour)
	p.PauseLimit = t.durationOr("thermostat_pause", p.PauseLimit, time.Minute, 6*time.Hour)
	if t.has("pulldown_least") && p.PulldownLeast > p.PulldownLimit {
		t.fault("pulldown_least", fmt.Sprintf("%s is above pulldown_limit, %s", shortDuration(p.PulldownLeast), shortDuration(p.PulldownLimit)), "the shortest pulldown is not longer than the longest")
	}
	t.done()
}
