package alert

import (
	"maps"
	"math"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
)

// Totals is the exposure of one compressor since the ledger began: what an
// inspection after a failure asks for. Where Circuit is set it is of a circuit
// and counts defrosts and causes; where both are empty it is of a group: the
// events of the inputs that it shares, and causes without a circuit.
type Totals struct {
	Group                  string    `json:"group"`
	Compressor             string    `json:"compressor"`
	Circuit                string    `json:"circuit,omitempty"`
	Since                  time.Time `json:"since"` // first row seen; zero before any
	RunningSeconds         float64   `json:"running_seconds"`
	Starts                 uint64    `json:"starts"`
	FloodbackSeconds       float64   `json:"floodback_seconds"`        // margin below zero, inside floodback events
	FloodbackKelvinSeconds float64   `json:"floodback_kelvin_seconds"` // the same time weighted by −margin
	// What is inside the two above and belongs to events that were withdrawn.
	FloodbackWithdrawnSeconds       float64 `json:"floodback_withdrawn_seconds,omitempty"`
	FloodbackWithdrawnKelvinSeconds float64 `json:"floodback_withdrawn_kelvin_seconds,omitempty"`
	Events                          []Tally `json:"events,omitempty"` // those that occurred, in order of kind and severity
	// PhaseSeconds is the time watched in each phase, by its word.
	PhaseSeconds map[string]float64 `json:"phase_seconds,omitempty"`
	// LowestInPulldownK is the lowest good superheat of the last pulldown that
	// ended; nil where none was known in it, or none has ended.
	LowestInPulldownK *float64 `json:"lowest_in_pulldown_k,omitempty"`
	Defrosts          uint64   `json:"defrosts,omitempty"` // that began
	// Causes counts closed floodback events by their first cause.
	Causes map[string]uint64 `json:"causes,omitempty"`
}

// Tally counts the events of one kind and severity.
type Tally struct {
	Kind      string `json:"kind"`
	Severity  string `json:"severity"`
	Opened    uint64 `json:"opened"`    // by severity at opening: the sum counts each event once
	Escalated uint64 `json:"escalated"` // later raised to this severity
	Reached   uint64 `json:"reached"`   // that had at least this severity at any time
}

// SeveritiesOf lists the severities that detectors give to findings of kind k,
// the least first.
func SeveritiesOf(k floodback.Kind) []floodback.Severity {
	switch k {
	case floodback.Floodback:
		return []floodback.Severity{floodback.Risk, floodback.Minor, floodback.Major}
	case floodback.FloodedStart:
		return []floodback.Severity{floodback.Warning, floodback.Critical}
	case floodback.Hunting:
		return []floodback.Severity{floodback.Notice, floodback.Warning}
	case floodback.SensorFault, floodback.NoData:
		return []floodback.Severity{floodback.Warning}
	}
	return []floodback.Severity{floodback.Notice, floodback.Warning, floodback.Critical}
}

const severityCount = int(floodback.Critical) + 1

// counter is the working form of Totals.
type counter struct {
	Totals

	opened, escalated, reached [floodback.KindCount][severityCount]uint64

	wasRunning bool
	wasOff     bool

	phases  [frame.PhaseCount]float64 // s
	phase   frame.Phase               // of the last row
	lowest  float64                   // K, of the pulldown that goes on; +Inf where not known
	stage   frame.Stage               // of the last row
	byCause map[string]uint64
}

// count adds running time, starts and the time in each phase.
func (c *counter) count(st *analyze.State, watched time.Duration) {
	if c.Since.IsZero() {
		c.Since = st.Time.UTC()
	} else {
		c.phases[c.phase] += watched.Seconds()
	}
	c.pulldown(st)
	c.phase = st.Phase
	running := IsRunning(st)
	if c.wasRunning {
		c.RunningSeconds += watched.Seconds()
	}
	if running && c.wasOff {
		c.Starts++
	}
	if st.Phase != frame.Unknown {
		c.wasOff = st.Phase == frame.Off
	}
	c.wasRunning = running
}

// IsRunning reports whether st's compressor is known to run. Its phase need not be
// known: time below the floor counts as exposure of a running machine only, so
// it is running time too.
func IsRunning(st *analyze.State) bool {
	if st.Running != frame.Unset {
		return st.Running == frame.Yes
	}
	return st.Phase != frame.Off && st.Phase != frame.Unknown
}

// pulldown follows the lowest superheat of a pulldown until it ends.
func (c *counter) pulldown(st *analyze.State) {
	if st.Phase == frame.Pulldown {
		if c.phase != frame.Pulldown {
			c.lowest = math.Inf(1)
		}
		if st.Quality == reading.Good && float64(st.Superheat) < c.lowest {
			c.lowest = float64(st.Superheat)
		}
		return
	}
	if c.phase == frame.Pulldown {
		c.LowestInPulldownK = known(c.lowest)
	}
}

// countCircuit adds the defrosts of a circuit. One that goes on when the first row
// is taken was counted before, or its beginning was not seen.
func (c *counter) countCircuit(stage frame.Stage, at time.Time) {
	if c.Since.IsZero() {
		c.Since = at.UTC()
	}
	if stage == frame.Defrosting && (c.stage == frame.Refrigerating || c.stage == frame.PullingDown) {
		c.Defrosts++
	}
	c.stage = stage
}

// open counts an event of kind k that opens with severity s.
func (c *counter) open(k floodback.Kind, s floodback.Severity) {
	c.opened[k][s]++
	for _, reached := range SeveritiesOf(k) {
		if reached <= s {
			c.reached[k][reached]++
		}
	}
}

// escalate counts an open event of kind k that was raised from one severity to
// another.
func (c *counter) escalate(k floodback.Kind, from, to floodback.Severity) {
	c.escalated[k][to]++
	for _, reached := range SeveritiesOf(k) {
		if from < reached && reached <= to {
			c.reached[k][reached]++
		}
	}
}

// countCause adds a closed floodback event.
func (c *counter) countCause(cause string) {
	if c.byCause == nil {
		c.byCause = map[string]uint64{}
	}
	c.byCause[cause]++
}

// withdraw counts the time and dose of an event that was proved false. Figures
// that a restart has rounded are never more than the exposure they are part of.
func (c *counter) withdraw(seconds, dose float64) {
	c.FloodbackWithdrawnSeconds = min(c.FloodbackWithdrawnSeconds+seconds, c.FloodbackSeconds)
	c.FloodbackWithdrawnKelvinSeconds = min(c.FloodbackWithdrawnKelvinSeconds+dose, c.FloodbackKelvinSeconds)
}

// export returns the Totals with nothing shared.
func (c *counter) export() Totals {
	t := c.Totals
	t.Causes = maps.Clone(c.byCause)
	t.PhaseSeconds = nil
	for p, seconds := range c.phases {
		if seconds > 0 {
			if t.PhaseSeconds == nil {
				t.PhaseSeconds = map[string]float64{}
			}
			t.PhaseSeconds[frame.Phase(p).String()] = rounded(seconds, 1000)
		}
	}
	t.RunningSeconds = rounded(t.RunningSeconds, 1000)
	t.FloodbackSeconds = rounded(t.FloodbackSeconds, 1000)
	t.FloodbackKelvinSeconds = rounded(t.FloodbackKelvinSeconds, 1000)
	t.FloodbackWithdrawnSeconds = rounded(t.FloodbackWithdrawnSeconds, 1000)
	t.FloodbackWithdrawnKelvinSeconds = rounded(t.FloodbackWithdrawnKelvinSeconds, 1000)
	t.Events = nil
	for k := range c.opened {
		for s := range c.opened[k] {
			if c.reached[k][s]+c.opened[k][s]+c.escalated[k][s] > 0 {
				t.Events = append(t.Events, Tally{
					Kind: floodback.Kind(k).String(), Severity: floodback.Severity(s).String(),
					Opened: c.opened[k][s], Escalated: c.escalated[k][s], Reached: c.reached[k][s],
				})
			}
		}
	}
	return t
}

// resume continues from totals written by an earlier run.
func (c *counter) resume(t Totals) {
	for _, n := range t.Events {
		k, kOK := kindOf(n.Kind)
		s, sOK := severityOf(n.Severity)
		if kOK && sOK {
			c.opened[k][s], c.escalated[k][s], c.reached[k][s] = n.Opened, n.Escalated, n.Reached
		}
	}
	for p := range c.phases {
		c.phases[p] = t.PhaseSeconds[frame.Phase(p).String()]
	}
	c.byCause = maps.Clone(t.Causes)
	t.Events, t.PhaseSeconds, t.Causes = nil, nil, nil
	c.Totals = t
}

func kindOf(name string) (floodback.Kind, bool) {
	for k := range floodback.Kind(floodback.KindCount) {
		if k.String() == name {
			return k, true
		}
	}
	return 0, false
}

// Level is the severity of e as a number: 1 risk or notice, 2 minor or warning,
// 3 major or critical.
func (e *Event) Level() int {
	switch severity, _ := severityOf(e.Severity); severity {
	case floodback.Risk, floodback.Notice:
		return 1
	case floodback.Minor, floodback.Warning:
		return 2
	case floodback.Major, floodback.Critical:
		return 3
	}
	return 0
}

func severityOf(name string) (floodback.Severity, bool) {
	for s := floodback.Risk; int(s) < severityCount; s++ {
		if s.String() == name {
			return s, true
		}
	}
	return 0, false
}
