package phase

// What the rules count with. Common practice, no source, where nothing else is
// said; what a site may want otherwise stands in Settings.
const (
	// A coil outlet that is not fed: over the usual coil superheat by
	minRise      = 3.5         // K at least
	riseRestless = 3.5         // by this many times its usual movement, if that is more
	risePulldown = 4.0         // K more during a pulldown, when it swings;
	riseOutlet   = 3.0         // with the outlet itself up by this many K,
	riseLevel    = 12.0        // or, where the dew rises with it, by this many
	riseHolds    = int64(45e9) // for this long

	// A coil outlet to which liquid comes back (common practice: 3 K in 60 s)
	fallSpan   = int64(60e9)
	fallKelvin = 3.0
	fallShare  = 0.12 // of its height over the air, if that is more: a hot coil cools by itself

	// A machine that runs for longer than it takes to empty shut coils feeds one.
	fedAfter = int64(60e9)

	// A defrost, and no pause of a thermostat
	proofOverAir    = 2.5 // K of the outlet over the air
	proofOverTop    = 1.0 // K of the air over its highest when undisturbed
	proofOverOutlet = 8.0 // K of the outlet over its usual, where the air is not known,
	proofThawed     = 2.0 // and °C
	airSways        = 3   // mean deviations of the air that it reaches when undisturbed

	// Found without a history
	fedOver   = 13.0 // K over dew: less is fed,
	fedOutlet = 1.0  // °C: if it is cold
	thawed    = 3.0  // °C: a coil outlet that is not
	calmHolds = int64(120e9)

	// Air alone
	airRise      = 0.8 // K over its highest when undisturbed: no longer cooled
	airTurn      = 0.7 // K below its crest: cooled again
	airTurnShare = 0.1 // or this share of the height of the crest

	// The load after a defrost. Chosen on simulated coils of three kinds, which
	// contradict each other in part; no measured load was found.
	nearHolds   = int64(60e9)
	shutHolds   = int64(180e9) // a valve shut for that long is no swing of it
	awayUsual   = 1200.0       // s without refrigeration, of a usual defrost with its drip
	awayPower   = 0.8          // power of that time with which the pulldown goes
	idleStretch = 3.5          // machines that stand a fifth of the time: twice as long
	minGap      = 1.0          // K; a narrower gap measures nothing
	gapWide     = 6.0          // a gap wider by a tenth: 1.8 times as long
	gapWasIced  = 0.9          // of the gap before; narrower, the coil was iced then
	gapIced     = 12.0         // narrower by a tenth more: 3.3 times as long
	fillStretch = 0.15         // for each K that the outlet is over its usual
	maxFill     = 2.0          // K
)

// limits are the settings as the trackers count: in ns.
type limits struct {
	startLength     int64
	offBeforeStart  int64
	pulldownLimit   int64
	pulldownLeast   int64
	drip            int64
	dripLimit       int64
	signalLimit     int64
	signalLeast     int64
	pauseLimit      int64
	typicalPulldown int64
}

func limitsFrom(s Settings, circuits int) limits {
	s = s.WithDefaults()
	if circuits == 1 {
		s.TypicalPulldown = s.LonePulldown
	}
	return limits{
		startLength:     int64(s.StartLength),
		offBeforeStart:  int64(s.OffBeforeStart),
		pulldownLimit:   int64(s.PulldownLimit),
		pulldownLeast:   int64(s.MinPulldown),
		drip:            int64(s.Drip),
		dripLimit:       int64(s.DripLimit),
		signalLimit:     int64(s.SignalLimit),
		signalLeast:     int64(s.MinStuckSignal),
		pauseLimit:      int64(s.PauseLimit),
		typicalPulldown: int64(s.TypicalPulldown),
	}
}
