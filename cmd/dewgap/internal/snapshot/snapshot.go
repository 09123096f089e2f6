// Package snapshot holds what the daemon shows: one immutable state of a site
// for each row, published by the main loop and read by metrics, page and API.
//
// It may import pipeline, analyze, alert and collector for their types. It must never
// read a device, a file or the journal: a request never causes a poll.
package snapshot

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
	"dewgap/analyze/trend"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/collector"
)

// Snapshot is a site at one row. It is never changed after Publish.
type Snapshot struct {
	Site  string
	Mode  string // "live", "demo", "replay"
	Note  string // beside the mode, for people: "plant time runs 30 × faster"
	Units string // what people are shown first: "si" or "us"
	// Atmosphere is the pressure of the air at the site, which gauges do not show.
	Atmosphere units.Pascal
	Time       time.Time
	Points     []reading.Point
	States     []analyze.State
	Circuits   []analyze.CircuitState
	Inputs     []analyze.Input // same index as Points
	// Compared are the comparisons of inputs with a gauge, for people; same index as
	// Points, or empty. An empty text is an input that nobody compared.
	Compared []string
	// Budgets list the sources of the uncertainty of each superheat; same
	// index as States, or empty. A budget without parts is unknown.
	Budgets []superheat.Budget
	Limits  []analyze.Limit // what cannot be judged with the readings there are
	Notices []trend.Notice  // slow trends that reach their limit within a week
	Open    []alert.Event   // in order of opening, figures so far
	Recent  []alert.Event   // closed ones, newest first
	// Maintenance holds past ones and those that are on at Time.
	Maintenance []alert.Maintenance
	Sources     []collector.Status
	Targets     []Target   // who is told of events
	Receivers   []Receiver // of metrics by remote write
	Totals      []alert.Totals
	// Refrigerants by group's name, for people.
	Refrigerants map[string]string
	Journal      alert.JournalStatus
	// SetAside names files of the data directory that could not be read whole and
	// wait for a person to look at them.
	SetAside     []string
	LedgerFault  string
	LedgerErrors uint64
	// ConfigFault is why the last reload changed nothing; empty when it did not fail.
	ConfigFault string
	LateRows    uint64  // row ticks that were skipped because the one before took too long
	Faults      []Fault // further faults of the daemon
	Replay      *Replay // nil unless a recording is played
}

// Replay is the position in a recording that is played.
type Replay struct {
	Recording string    `json:"recording"`
	From      time.Time `json:"from"`
	To        time.Time `json:"to"`
	Speed     float64   `json:"speed"` // times real speed
	Paused    bool      `json:"paused"`
	Ended     bool      `json:"ended"`
	Rows      int       `json:"rows"` // played so far
	Last      string    `json:"last"` // the last event that opened, in words
}

// Fault is something wrong with the daemon itself, in words.
type Fault struct {
	What string `json:"what"` // a word: journal, ledger, trends, recording, config, clock
	Text string `json:"text"`
}

// Target is somebody who is told of events, as page and metrics show it.
type Target struct {
	Name     string
	Kind     string
	Address  string    // without what is secret
	Waiting  int       // changes of events that it should have been told by now
	Oldest   time.Time // since when the oldest of them waits; zero: none does
	Failures uint64    // attempts that failed since start
	Told     uint64    // messages taken since start
	Last     time.Time // when it took the last one since start; zero: none yet
	Fault    string    // why the last attempt failed, or why it is not told; empty: all is well
	Off      bool      // it asked to be told no more
	Parked   int       // messages that it refused
	Unsaved  string    // why the cursor cannot be written; empty when it can
}

// Receiver is somebody who is sent the metrics, as page and metrics show it.
type Receiver struct {
	Name     string
	Address  string            // without what is secret
	UpTo     time.Time         // time of the newest row that is done; zero: not known yet
	Samples  uint64            // taken since start
	Failures uint64            // attempts that failed since start
	Rejected map[string]uint64 // samples passed over since start, by reason
	// GivenFrom and GivenTo are the newest span that was too old for the receiver.
	GivenFrom, GivenTo time.Time
	Fault              string // why nothing can be sent; empty: all is well
	Unsaved            string // why the cursor cannot be written; empty when it can
}

// Of copies the state of site from r and the pipeline that returned it, so that
// the pipeline may step on.
func Of(site analyze.Site, p *pipeline.Pipeline, r analyze.Result) *Snapshot {
	refrigerants := make(map[string]string, len(site.Groups))
	for _, g := range site.Groups {
		refrigerants[g.Name] = g.Refrigerant.Name
	}
	return &Snapshot{
		Refrigerants: refrigerants,

		Site:       site.Name,
		Atmosphere: site.Atmosphere,
		Time:       r.Time,
		Points:     site.Points,
		States:     slices.Clone(r.States),
		Circuits:   p.Engine().Circuits(nil),
		Inputs:     slices.Clone(r.Inputs),

		Limits:  r.Limits,
		Notices: r.Notices,
		Open:    p.Tracker.Open(),
		Totals:  p.Tracker.Totals(),
		Budgets: p.Engine().Budgets(),
	}
}

// Budget returns the budget of the superheat of States[i]; false where there is
// none.
func (s *Snapshot) Budget(i int) (superheat.Budget, bool) {
	if i >= len(s.Budgets) || len(s.Budgets[i].Parts) == 0 {
		return superheat.Budget{}, false
	}
	return s.Budgets[i], true
}

// Renderer puts evidence into words in the units that people are shown first.
func (s *Snapshot) Renderer() evidence.Renderer {
	system, _ := units.ParseSystem(s.Units) // SI where it is not stated
	site := analyze.Site{Points: s.Points}
	return evidence.Renderer{System: system, Atmosphere: s.Atmosphere, Pressure: site.PressureUnit()}
}

// AllFaults returns Faults and those of journal, ledger and configuration.
func (s *Snapshot) AllFaults() []Fault {
	faults := slices.Clone(s.Faults)
	journal := s.Journal.Fault
	if n := s.Journal.Unshown; journal != "" && n > 0 {
		journal += fmt.Sprintf("; %d changes of events wait for the disk and are not shown before they are on it", n)
	}
	short := ""
	if s.Journal.Short {
		short = "the disk of the data directory is full: events and exposure use the space that was held back for them. Free some space"
	}
	for _, f := range []Fault{
		{"disk_space", short},
		{"journal", journal}, {"journal_unread", s.unread(alert.JournalFile)},
		{"ledger", s.LedgerFault}, {"ledger_unread", s.unread(alert.LedgerFile)}, {"config", s.ConfigFault},
	} {
		if f.Text != "" {
			faults = append(faults, f)
		}
	}
	for i := range s.Targets {
		if t := &s.Targets[i]; t.Fault != "" {
			faults = append(faults, Fault{"notify", fmt.Sprintf("target %s: %s", t.Name, t.Fault)})
		}
	}
	for i := range s.Receivers {
		r := &s.Receivers[i]
		for _, text := range []string{r.Fault, r.Unsaved} {
			if text != "" {
				faults = append(faults, Fault{"remote_write", fmt.Sprintf("receiver %s: %s", r.Name, text)})
			}
		}
	}
	return faults
}

// unread describes the files set aside that began as file; empty where there are
// none.
func (s *Snapshot) unread(file string) string {
	var names []string
	for _, name := range s.SetAside {
		if strings.HasPrefix(name, file) {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return strings.Join(names, ", ") + " in the data directory could not be read whole, or was not written by this daemon. All that could be read is kept. Check the disk, and move the file out of the directory to end this report"
}

// Ready reports whether every source has delivered once, and which have not.
func (s *Snapshot) Ready() (bool, []string) {
	var waiting []string
	for _, src := range s.Sources {
		if !src.Delivered {
			waiting = append(waiting, src.Name)
		}
	}
	return len(waiting) == 0 && !s.Time.IsZero(), waiting
}

const (
	// MaxAge is how long a snapshot may be shown as the present state. A main
	// loop that hangs must not look like a healthy plant.
	MaxAge = 30 * time.Second
	// BucketLength and Buckets bound what the page plots: an hour of data.
	BucketLength = 10 * time.Second
	Buckets      = 360
)

// Board passes the newest snapshot from the main loop to its readers.
type Board struct {
	now     func() time.Time
	current atomic.Pointer[published]

	mu     sync.Mutex
	traces []trace // by compressor
}

type published struct {
	*Snapshot
	at time.Time
}

// NewBoard returns an empty board; now returns real time, whatever clock the
// plant runs by.
func NewBoard(now func() time.Time) *Board { return &Board{now: now} }

// Publish makes s the current snapshot.
func (b *Board) Publish(s *Snapshot) {
	b.current.Store(&published{s, b.now()})
	b.AddToTraces(s.Time, s.States)
}

// AddToTraces adds states to the plots without publishing them.
func (b *Board) AddToTraces(at time.Time, states []analyze.State) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.traces) != len(states) {
		b.traces = make([]trace, len(states))
	}
	for i := range states {
		b.traces[i].add(at, float64(states[i].Superheat), float64(states[i].Floor))
	}
}

// Current returns the newest snapshot (nil before the first) and how long ago,
// in real time, it was published.
func (b *Board) Current() (*Snapshot, time.Duration) {
	p := b.current.Load()
	if p == nil {
		return nil, 0
	}
	return p.Snapshot, max(0, b.now().Sub(p.at))
}

// Trace is the last hour of data of one compressor, by the rows' time. Each
// entry stands for BucketLength and holds the lowest superheat in it, so that
// no dip is hidden; NaN where none was known.
type Trace struct {
	From      time.Time // of the first entry
	Superheat []float32
	Floor     []float32
}

// Trace returns what is kept of the compressor.
func (b *Board) Trace(compressor int) Trace {
	b.mu.Lock()
	defer b.mu.Unlock()
	if compressor < 0 || compressor >= len(b.traces) {
		return Trace{}
	}
	return b.traces[compressor].export()
}

// trace is a ring of buckets; bucket n covers n × BucketLength since the epoch.
type trace struct {
	first, last int64 // bucket numbers; last < first: empty
	begun       bool
	superheat   [Buckets]float32
	floor       [Buckets]float32
}

func (t *trace) add(at time.Time, superheat, floor float64) {
	n := at.UnixNano() / int64(BucketLength)
	if !t.begun || n < t.last || n-t.last >= Buckets { // also when the clock went back
		t.begun, t.first, t.last = true, n, n
		t.blank(n)
	}
	for t.last < n {
		t.last++
		t.blank(t.last)
	}
	t.first = max(t.first, t.last-Buckets+1)
	i := n % Buckets
	if v := float32(superheat); !math.IsNaN(superheat) && !(t.superheat[i] <= v) {
		t.superheat[i] = v
	}
	if !math.IsNaN(floor) {
		t.floor[i] = float32(floor)
	}
}

func (t *trace) blank(n int64) {
	i := n % Buckets
	t.superheat[i], t.floor[i] = float32(math.NaN()), float32(math.NaN())
}

func (t *trace) export() Trace {
	if !t.begun {
		return Trace{}
	}
	out := Trace{From: time.Unix(0, t.first*int64(BucketLength)).UTC()}
	for n := t.first; n <= t.last; n++ {
		out.Superheat = append(out.Superheat, t.superheat[n%Buckets])
		out.Floor = append(out.Floor, t.floor[n%Buckets])
	}
	return out
}
