package alert

import (
	"time"

	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
)

// Totals is the exposure of one compressor since the ledger began: what an
// inspection after a failure asks for. Compressor is empty for the events of
// inputs that a whole group shares.
type Totals struct {
	Group                  string    `json:"group"`
	Compressor             string    `json:"compressor"`
	Since                  time.Time `json:"since"` // first row seen; zero before any
	RunningSeconds         float64   `json:"running_seconds"`
	Starts                 uint64    `json:"starts"`
	FloodbackSeconds       float64   `json:"floodback_seconds"`        // margin below zero, inside floodback events
	FloodbackKelvinSeconds float64   `json:"floodback_kelvin_seconds"` // the same time weighted by −margin
	Events                 []Tally   `json:"events,omitempty"`         // those that occurred, in order of kind and severity
}

// Tally counts the events of one kind and severity.
type Tally struct {
	Kind      string `json:"kind"`
	Severity  string `json:"severity"`
	Opened    uint64 `json:"opened"`    // by severity at opening: the sum counts each event once
	Escalated uint64 `json:"escalated"` // later raised to this severity
}

// SeveritiesOf lists the severities that events of kind k can have.
func SeveritiesOf(k floodback.Kind) []floodback.Severity {
	if k == floodback.Floodback {
		return []floodback.Severity{floodback.Risk, floodback.Minor, floodback.Major}
	}
	return []floodback.Severity{floodback.Notice, floodback.Warning, floodback.Critical}
}

const severityCount = int(floodback.Critical) + 1

// counter is the working form of Totals.
type counter struct {
	Totals
	opened, escalated [floodback.KindCount][severityCount]uint64
	wasRunning        bool
	wasOff            bool
}

// count adds running time and starts.
func (c *counter) count(st *analyze.State, watched time.Duration) {
	if c.Since.IsZero() {
		c.Since = st.Time.UTC()
	}
	running := st.Phase != frame.Off && st.Phase != frame.Unknown
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

// export returns the Totals with nothing shared.
func (c *counter) export() Totals {
	t := c.Totals
	t.RunningSeconds = rounded(t.RunningSeconds, 1000)
	t.FloodbackSeconds = rounded(t.FloodbackSeconds, 1000)
	t.FloodbackKelvinSeconds = rounded(t.FloodbackKelvinSeconds, 1000)
	t.Events = nil
	for k := range c.opened {
		for s := range c.opened[k] {
			if c.opened[k][s]+c.escalated[k][s] > 0 {
				t.Events = append(t.Events, Tally{
					Kind: floodback.Kind(k).String(), Severity: floodback.Severity(s).String(),
					Opened: c.opened[k][s], Escalated: c.escalated[k][s],
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
			c.opened[k][s], c.escalated[k][s] = n.Opened, n.Escalated
		}
	}
	t.Events = nil
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

func severityOf(name string) (floodback.Severity, bool) {
	for s := floodback.Risk; int(s) < severityCount; s++ {
		if s.String() == name {
			return s, true
		}
	}
	return 0, false
}
