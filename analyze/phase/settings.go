package phase

import "time"

// Settings of phases for one group. Zero fields take the values of Default.
type Settings struct {
	StartLength    time.Duration // length of the start phase
	OffBeforeStart time.Duration // off time that makes a start
	PulldownLimit  time.Duration // longest pulldown
	LoadBand       float64       // pulldown is over when the load is within this share of before
	Drip           time.Duration // from the end of the defrost signal to refrigeration, where no input shows it
	DripLimit      time.Duration // longest wait for an input to show that refrigeration is back
	SignalLimit    time.Duration // a defrost signal longer than this is stuck
	// TypicalPulldown ends a pulldown where no input shows the load.
	TypicalPulldown time.Duration
}

// Default returns the settings for a group of which nothing is told.
func Default() Settings {
	return Settings{
		StartLength:     120 * time.Second, // contract, section 5
		OffBeforeStart:  60 * time.Second,  // contract, section 5
		PulldownLimit:   60 * time.Minute,  // contract, section 5
		LoadBand:        0.10,              // contract, section 5
		Drip:            3 * time.Minute,   // common practice: 2 to 5 min
		DripLimit:       8 * time.Minute,   // common practice: longest drip and valve opening
		SignalLimit:     90 * time.Minute,  // shared trade notes: a flag that never clears
		TypicalPulldown: 22 * time.Minute,  // common practice: load excess dies with a time constant of 6–10 min; 2.3 of them to 10 %
	}
}

// WithDefaults returns s with its zero fields filled in.
func (s Settings) WithDefaults() Settings {
	d := Default()
	fill := func(x *time.Duration, v time.Duration) {
		if *x <= 0 {
			*x = v
		}
	}
	fill(&s.StartLength, d.StartLength)
	fill(&s.OffBeforeStart, d.OffBeforeStart)
	fill(&s.PulldownLimit, d.PulldownLimit)
	fill(&s.Drip, d.Drip)
	fill(&s.DripLimit, d.DripLimit)
	fill(&s.SignalLimit, d.SignalLimit)
	fill(&s.TypicalPulldown, d.TypicalPulldown)
	if s.LoadBand <= 0 {
		s.LoadBand = d.LoadBand
	}
	return s
}
