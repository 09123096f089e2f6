package floodback

import (
	"time"

	"dewgap/analyze/units"
)

// DefaultSettings returns the settings for a group of which nothing is told.
func DefaultSettings() Settings {
	return Settings{
		Floor:       ByPhase[units.Kelvin]{Steady: 11, Pulldown: 8},                               // contract, section 2
		Hold:        ByPhase[time.Duration]{Steady: 60 * time.Second, Pulldown: 30 * time.Second}, // contract, section 2
		ClearMargin: 2,                                                                            // contract, section 2
		ClearHold:   120 * time.Second,                                                            // contract, section 2
		NoDataHold:  2 * time.Minute,                                                              // common practice: a restart of a gateway is no event
		FaultHold:   time.Minute,                                                                  // common practice
	}
}

// WithDefaults returns s with its zero fields filled in. A margin of zero is a
// margin: it is filled in only where nothing at all is set.
func (s Settings) WithDefaults() Settings {
	d := DefaultSettings()
	if s.ClearMargin == 0 && s.ClearHold == 0 {
		s.ClearMargin = d.ClearMargin
	}
	if s.Floor.Steady == 0 {
		s.Floor.Steady = d.Floor.Steady
	}
	if s.Floor.Pulldown == 0 {
		s.Floor.Pulldown = min(d.Floor.Pulldown, s.Floor.Steady)
	}
	fill := func(x *time.Duration, v time.Duration) {
		if *x <= 0 {
			*x = v
		}
	}
	fill(&s.Hold.Steady, d.Hold.Steady)
	fill(&s.Hold.Pulldown, d.Hold.Pulldown)
	fill(&s.ClearHold, d.ClearHold)
	fill(&s.NoDataHold, d.NoDataHold)
	fill(&s.FaultHold, d.FaultHold)
	return s
}
