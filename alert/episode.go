package alert

import (
	"math"
	"slices"
	"strings"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
)

// episode is one condition from the first row that shows it until it has
// cleared: pending first, then an open event, or forgotten.
type episode struct {
	key       Key
	open      bool
	began     time.Time
	severity  floodback.Severity
	clearHold time.Duration

	last    floodback.Verdict // of the row before
	present time.Duration     // watched time with the condition present, while pending
	clear   time.Duration     // watched time clear, while open
	unknown time.Duration     // time in which nothing could be told, since last told

	// Figures since began, not rounded.
	below        float64 // −margin of the row before where it counts, else 0
	seconds      float64
	dose         float64
	minSuperheat float64
	minMargin    float64

	event    Event           // identity, fixed at opening; empty while pending
	evidence []evidence.Item // of the newest row that showed the condition
	circuits []Score
	causes   []Cause
	seen     uint64 // step in which a finding spoke of it
}

// lastedMost is how many times the time between two rows a condition may have
// lasted when it is first shown: one that needed a second row to be believed.
const lastedMost = 2

func newEpisode(key Key, at time.Time) *episode {
	return &episode{key: key, began: at, minSuperheat: math.NaN(), minMargin: math.NaN()}
}

// measure takes the compressor's state into the figures: the state of the row
// before stood for the watched time (unless this one cannot tell), this one is
// looked at for the minima. It returns what was added to seconds and dose.
func (e *episode) measure(st *analyze.State, v floodback.Verdict, watched time.Duration) (seconds, dose float64) {
	if e.below > 0 && v != floodback.CannotTell {
		seconds = watched.Seconds()
		dose = e.below * seconds
		e.seconds += seconds
		e.dose += dose
	}
	e.below = 0
	if st == nil || (st.Quality != reading.Good && st.Quality != reading.Suspect) {
		return
	}
	// A compressor that is off or has just started has no superheat that means
	// anything, unless the finding says that it does.
	counts := v == floodback.Present || st.Phase == phase.Steady || st.Phase == phase.Pulldown || st.Phase == phase.Defrost
	if !counts || st.Phase == phase.Off {
		return
	}
	e.minSuperheat = lesser(e.minSuperheat, float64(st.Superheat))
	e.minMargin = lesser(e.minMargin, float64(st.Margin))
	if st.Margin < 0 {
		e.below = -float64(st.Margin)
	}
	return
}

// lesser returns the smaller one that is known.
func lesser(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

// hear takes the row's verdict into the clocks. Only time between two rows of
// the same verdict counts, so that an event opens and closes at rows that saw
// it. Time in which nothing could be told counts neither way; when it outlasts
// the hold or clear time itself, the clock concerned begins anew.
//
// lasted is how long before its first row the condition had begun.
func (e *episode) hear(v floodback.Verdict, hold, lasted time.Duration, at time.Time, g reading.Interval) {
	if g.Gap || v == floodback.CannotTell || e.last == floodback.CannotTell {
		e.unknown += g.Between
	}
	switch v {
	case floodback.CannotTell:
		e.last = v
		return
	case floodback.Present:
		if !e.open && e.unknown > hold {
			fresh := newEpisode(e.key, at)
			fresh.seen, fresh.clearHold = e.seen, e.clearHold
			*e = *fresh
		}
		switch {
		case e.last == v:
			e.present += g.Watched
		case !e.open && e.present == 0:
			e.present = min(lasted, lastedMost*g.Watched)
			e.began = at.Add(-e.present)
		}
		e.clear = 0
	case floodback.Clear:
		if e.unknown > e.clearHold {
			e.clear = 0
		}
		if e.last == v {
			e.clear += g.Watched
		}
	case floodback.Between:
		e.clear = 0
	}
	e.unknown = 0
	e.last = v
}

// learn keeps what the newest finding that shows the condition says.
func (e *episode) learn(f *floodback.Finding) {
	e.evidence = append(e.evidence[:0], f.Evidence...)
	e.circuits = e.circuits[:0]
	for _, r := range f.Circuits {
		if math.IsNaN(r.Score) {
			continue // not known; a journal has no way to say it
		}
		e.circuits = append(e.circuits, Score{Name: r.Name, Score: rounded(r.Score, 100), Why: slices.Clone(r.Why)})
	}
	e.causes = e.causes[:0]
	for _, r := range f.Causes {
		if math.IsNaN(r.Score) {
			continue
		}
		e.causes = append(e.causes, Cause{Cause: r.Name, Score: rounded(r.Score, 100), Why: slices.Clone(r.Why)})
	}
}

// current returns the event with its figures so far; nothing is shared with e.
func (e *episode) current() Event {
	ev := e.event
	ev.Severity = e.severity.String()
	ev.SecondsBelow = rounded(e.seconds, 1)
	ev.KelvinSecondsBelow = rounded(e.dose, 1)
	ev.MinSuperheatK = known(e.minSuperheat)
	ev.MinMarginK = known(e.minMargin)
	ev.Circuits = append(make([]Score, 0, len(e.circuits)), e.circuits...)
	ev.Causes = append(make([]Cause, 0, len(e.causes)), e.causes...)
	ev.Evidence = slices.Clone(e.evidence)
	return ev
}

// subject names what an episode is about, as a path.
func subject(group, compressor, input string) string {
	path := group
	if compressor != "" {
		path += "." + compressor
	}
	if input == "" {
		return path
	}
	rest := strings.TrimPrefix(input, group+".")
	if compressor != "" {
		rest = strings.TrimPrefix(rest, compressor+".")
	}
	return path + "." + rest
}

// idOf names an event by what it is about, its kind and when it opened: the
// same in a live run and in its replay.
func idOf(subject string, kind floodback.Kind, opened time.Time) string {
	return subject + "-" + kind.String() + "-" + opened.UTC().Format("20060102T150405.999999999Z")
}
