package phase

import "time"

// Settings of phases for one group. The zero value stands for Default; one that
// is set is set whole, so that a drip of zero is none.
type Settings struct {
	StartLength    time.Duration // length of the start phase
	OffBeforeStart time.Duration // off time that makes a start
	PulldownLimit  time.Duration // longest pulldown
	PulldownLeast  time.Duration // shortest pulldown: fans start, the coil is cold again
	Drip           time.Duration // from the end of the defrost signal to refrigeration, where no input shows it
	DripLimit      time.Duration // longest wait for an input to show that refrigeration is back
	SignalLimit    time.Duration // a defrost signal longer than this is stuck
	SignalLeast    time.Duration // one of three times its usual length is stuck too, if that is longer than this
	PauseLimit     time.Duration // a thermostat's pause is shorter, a defrost longer
	// TypicalPulldown is how long a pulldown lasts when all looks as before,
	// LonePulldown where the group has that one circuit only: all it draws is
	// for that one.
	TypicalPulldown, LonePulldown time.Duration
}

// Default returns the settings for a group that states nothing.
func Default() Settings {
	return Settings{
		StartLength:     120 * time.Second, // contract, section 5
		OffBeforeStart:  60 * time.Second,  // contract, section 5
		PulldownLimit:   60 * time.Minute,  // contract, section 5
		PulldownLeast:   3 * time.Minute,   // common practice: fan delays of 1 to 5 min
		Drip:            2 * time.Minute,   // common practice: 2 to 5 min, and some signals last until it is over
		DripLimit:       8 * time.Minute,   // common practice: longest drip and valve opening
		SignalLimit:     90 * time.Minute,  // common practice: a signal that never clears
		SignalLeast:     20 * time.Minute,  // common practice: what a frosted coil may need for once
		PauseLimit:      9 * time.Minute,   // common practice
		TypicalPulldown: 15 * time.Minute,  // no source: what serves simulated coils best, see limits.go
		LonePulldown:    12 * time.Minute,  // no source: likewise
	}
}

// WithDefaults returns Default where nothing is set, else s as it is.
func (s Settings) WithDefaults() Settings {
	if s == (Settings{}) {
		return Default()
	}
	return s
}
