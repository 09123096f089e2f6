package phase

import "time"

// limits are the settings as the trackers count: in ns.
type limits struct {
	startLength     int64
	offBeforeStart  int64
	pulldownLimit   int64
	loadBand        float64
	drip            int64
	dripLimit       int64
	signalLimit     int64
	typicalPulldown int64
	hole            int64 // time without a sample that nobody can speak for
}

func limitsFrom(s Settings) limits {
	s = s.WithDefaults()
	return limits{
		startLength:     int64(s.StartLength),
		offBeforeStart:  int64(s.OffBeforeStart),
		pulldownLimit:   int64(s.PulldownLimit),
		loadBand:        s.LoadBand,
		drip:            int64(s.Drip),
		dripLimit:       int64(s.DripLimit),
		signalLimit:     int64(s.SignalLimit),
		typicalPulldown: int64(s.TypicalPulldown),
		// A stop and a start that long would make a start phase.
		hole: int64(max(s.OffBeforeStart, time.Minute)) * 2,
	}
}
