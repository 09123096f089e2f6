package phase

import (
	"time"

	"dewgap/analyze/setting"
)

// Settings of phases for one group. The zero value stands for Default; one that
// is set is set whole, so that a drip of zero is none.
type Settings struct {
	StartLength    time.Duration // length of the start phase
	OffBeforeStart time.Duration // off time that makes a start
	PulldownLimit  time.Duration // longest pulldown
	MinPulldown    time.Duration // shortest pulldown: fans start, the coil is cold again
	Drip           time.Duration // from the end of the defrost signal to refrigeration, where no input shows it
	DripLimit      time.Duration // longest wait for an input to show that refrigeration is back
	SignalLimit    time.Duration // a defrost signal longer than this is stuck
	MinStuckSignal time.Duration // a signal of three times its usual length is stuck too, if longer than this
	PauseLimit     time.Duration // a thermostat's pause is shorter, a defrost longer
	// TypicalPulldown is how long a pulldown lasts when all looks as before,
	// LonePulldown where the group has that one circuit only: all it draws is
	// for that one.
	TypicalPulldown, LonePulldown time.Duration
}

const practice = "common practice, no source"

// Limits of the keys. Beyond them lies a typing error.
const (
	maxLength = 6 * time.Hour
	maxShort  = time.Hour
)

// Rows are all settings with their keys below a suction group, defaults, limits
// and sources.
func Rows() []setting.Row[Settings] { return rows }

var rows = []setting.Row[Settings]{
	{Key: "start_length", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.StartLength }, 120*time.Second), Meaning: "Length of the start phase.", Source: practice},
	{Key: "off_before_start", Field: setting.Fixed(func(s *Settings) *time.Duration { return &s.OffBeforeStart }, 60*time.Second), Meaning: "Shortest stop before a start phase.", Source: practice},
	{
		Key: "drip", Field: setting.Within(func(s *Settings) *time.Duration { return &s.Drip }, 2*time.Minute, 0, maxShort),
		Meaning: "Drip time from the end of the defrost signal to refrigeration, where no input shows it.", Example: `"3 min"`,
		Usual: "2 to 5 min are in use, and 0 s where the signal lasts until the drip is over", Source: practice,
	},
	{
		Key: "pulldown_limit", Field: setting.Within(func(s *Settings) *time.Duration { return &s.PulldownLimit }, 60*time.Minute, time.Minute, maxLength),
		Meaning: "Longest pulldown after a defrost.", Example: `"60 min"`, Source: practice,
	},
	{
		Key: "defrost_limit", Field: setting.Within(func(s *Settings) *time.Duration { return &s.SignalLimit }, 90*time.Minute, time.Minute, maxLength),
		Meaning: "A defrost signal that lasts longer than this is taken for stuck.", Example: `"90 min"`, Source: practice,
	},
	{
		Key: "phases.pulldown_least", Field: setting.Within(func(s *Settings) *time.Duration { return &s.MinPulldown }, 3*time.Minute, 10*time.Second, maxShort),
		Meaning: "Shortest pulldown: the fans start and the coil is cold again.", Example: `"3 min"`, Usual: "fan delays are 1 to 5 min", Source: practice,
	},
	{
		Key: "phases.pulldown_usual", Field: setting.Within(func(s *Settings) *time.Duration { return &s.TypicalPulldown }, 15*time.Minute, time.Minute, maxLength),
		Meaning: "Usual length of a pulldown; what the inputs show stretches or shortens it.", Example: `"15 min"`, Source: "fitted: serves simulated coils best",
	},
	{
		Key: "phases.pulldown_usual_lone", Field: setting.Within(func(s *Settings) *time.Duration { return &s.LonePulldown }, 12*time.Minute, time.Minute, maxLength),
		Meaning: "Usual length of a pulldown in a group of one circuit, which has all of the compressors' capacity.", Example: `"12 min"`, Source: "fitted: serves simulated coils best",
	},
	{
		Key: "phases.drip_limit", Field: setting.Within(func(s *Settings) *time.Duration { return &s.DripLimit }, 8*time.Minute, time.Minute, maxShort),
		Meaning: "Longest wait for the coil outlet to show that liquid is back.", Example: `"8 min"`, Source: practice,
	},
	{
		Key: "phases.defrost_doubt", Field: setting.Within(func(s *Settings) *time.Duration { return &s.MinStuckSignal }, 20*time.Minute, time.Minute, maxLength),
		Meaning: "A signal of three times its usual length is taken for stuck, if it is longer than this.", Example: `"20 min"`, Source: practice,
	},
	{
		Key: "phases.thermostat_pause", Field: setting.Within(func(s *Settings) *time.Duration { return &s.PauseLimit }, 9*time.Minute, time.Minute, maxLength),
		Meaning: "Without a defrost signal, a valve that is shut for longer than this is a defrost.", Example: `"9 min"`, Source: practice,
	},
}

// Default returns the settings for a group that states none.
func Default() Settings { return setting.Defaults(rows) }

// WithDefaults returns Default where nothing is set, else s as it is.
func (s Settings) WithDefaults() Settings {
	if s == (Settings{}) {
		return Default()
	}
	return s
}
