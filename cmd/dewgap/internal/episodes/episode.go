package episodes

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/reading"
	"dewgap/collector/recording"
	"dewgap/config"
)

// What an episode holds around its event.
const (
	before = 2 * time.Hour
	after  = time.Hour
)

// Files of an episode's directory.
const (
	SiteFile      = "site.toml"
	RecordingFile = "recording.csv.gz"
	EpisodeFile   = "episode.json"
)

// Format names the form of EpisodeFile.
const Format = "dewgap episode 1"

// fixedDate is the day on which episodes begin whose dates are hidden.
var fixedDate = time.Date(2001, 1, 1, 0, 0, 0, 0, time.UTC)

// Episode is what EpisodeFile holds: an event of the contract's form with neutral
// names, without identity, text and people.
type Episode struct {
	Format             string     `json:"format"`
	Kind               string     `json:"kind"`
	Severity           string     `json:"severity"`
	Group              string     `json:"group"`
	Compressor         string     `json:"compressor"`
	Input              string     `json:"input,omitempty"`
	Phase              string     `json:"phase"`
	Began              time.Time  `json:"began"`
	Opened             time.Time  `json:"opened"`
	Closed             *time.Time `json:"closed"`
	FloorK             *float64   `json:"floor_k"`
	MinSuperheatK      *float64   `json:"min_superheat_k"`
	MinMarginK         *float64   `json:"min_margin_k"`
	SecondsBelow       float64    `json:"seconds_below"`
	KelvinSecondsBelow float64    `json:"kelvin_seconds_below"`
	Circuits           []Said     `json:"circuits"`
	Causes             []Said     `json:"causes"`
	Evidence           []string   `json:"evidence"` // codes
	Withdrawn          bool       `json:"withdrawn,omitempty"`
	// Found is what somebody found on site; null where nobody has looked.
	Found       *Found `json:"found"`
	DatesHidden bool   `json:"dates_hidden,omitempty"`
}

// Said is a candidate that the analysis named.
type Said struct {
	Name  string  `json:"name"`
	Score float64 `json:"score"`
}

// Found is what somebody found, without who, when and remarks.
type Found struct {
	Cause   string `json:"cause"`
	Circuit string `json:"circuit"`
}

// Select returns the events that make episodes: closed floodbacks that nothing
// proved false, and closed events of every kind that somebody has looked into.
func Select(events []alert.Event) []alert.Event {
	var out []alert.Event
	for _, ev := range events {
		if ev.Closed != nil && (ev.Found != nil || ev.Kind == floodback.Floodback.String() && ev.Withdrawn == nil) {
			out = append(out, ev)
		}
	}
	return out
}

// Setting is what episodes are written from.
type Setting struct {
	Dir       string // of the episodes; it exists
	Config    *config.Config
	Text      []byte       // that Config was read from
	Site      analyze.Site // with the points of the rows
	Events    []alert.Event
	HideDates bool // keep the time of day alone
}

// Result is what became of one event.
type Result struct {
	ID   string // of the event
	Dir  string // of the episode; empty where it was not written
	Skip string // why
}

// Writer writes episodes from rows in order of time.
type Writer struct {
	set     Setting
	names   *names
	cases   []*episode
	results []Result
}

// episode is one that is being written.
type episode struct {
	event       alert.Event
	dir         string
	moved       time.Duration // added to its times
	points      []int         // index among its own points of each point of the site; −1 for another group's
	own         []reading.Point
	out         *recording.Writer
	first, last time.Time
	done        bool
	site        []byte
	row         reading.Row
}

// NewWriter prepares the episodes of a setting's events.
func NewWriter(set Setting) *Writer {
	w := &Writer{set: set, names: newNames(set.Config.Site)}
	for i, ev := range set.Events {
		text, err := siteText(set.Text, set.Config, ev.Group, w.names)
		if err != nil {
			w.results = append(w.results, Result{ID: ev.ID, Skip: err.Error()})
			continue
		}
		e := &episode{event: ev, site: text, dir: filepath.Join(set.Dir, fmt.Sprintf("episode-%04d", i+1))}
		if set.HideDates {
			e.moved = fixedDate.Sub(ev.Began.UTC().Add(-before).Truncate(24 * time.Hour))
		}
		for _, p := range set.Site.Points {
			if p.Group != ev.Group {
				e.points = append(e.points, -1)
				continue
			}
			e.points = append(e.points, len(e.own))
			e.own = append(e.own, w.names.point(p))
		}
		w.cases = append(w.cases, e)
	}
	return w
}

// Take takes the next row into the episodes that it belongs to.
func (w *Writer) Take(row *reading.Row) error {
	for _, e := range w.cases {
		if e.done || row.Time.Before(e.event.Began.Add(-before)) {
			continue
		}
		if row.Time.After(e.event.Closed.Add(after)) {
			if err := w.finish(e); err != nil {
				return err
			}
			continue
		}
		if err := e.take(row); err != nil {
			return err
		}
	}
	return nil
}

func (e *episode) take(row *reading.Row) error {
	if e.out == nil {
		if err := os.Mkdir(e.dir, 0o755); err != nil {
			return err
		}
		f, err := create(filepath.Join(e.dir, RecordingFile))
		if err != nil {
			return err
		}
		if e.out, err = recording.NewWriter(f, e.own); err != nil {
			return err
		}
		e.first = row.Time
	}
	e.last = row.Time
	e.row.Time, e.row.Readings = row.Time.Add(e.moved), e.row.Readings[:0]
	for _, r := range row.Readings {
		if r.Point = e.points[r.Point]; r.Point < 0 {
			continue
		}
		r.Reason = neutralReason(r)
		r.Time = r.Time.Add(e.moved)
		e.row.Readings = append(e.row.Readings, r)
	}
	return e.out.Append(e.row)
}

// Close finishes all episodes and returns what became of each event.
func (w *Writer) Close() ([]Result, error) {
	var faults error
	for _, e := range w.cases {
		if !e.done {
			faults = errors.Join(faults, w.finish(e))
		}
	}
	return w.results, faults
}

// finish closes an episode, or removes it where its event was not recorded whole.
func (w *Writer) finish(e *episode) error {
	e.done = true
	if e.out == nil {
		w.results = append(w.results, Result{ID: e.event.ID, Skip: "no recording covers it"})
		return nil
	}
	err := e.out.Close()
	if err == nil && (e.first.After(e.event.Began) || e.last.Before(*e.event.Closed)) {
		w.results = append(w.results, Result{ID: e.event.ID, Skip: "the recordings do not cover it from beginning to end"})
		return errors.Join(os.Remove(filepath.Join(e.dir, RecordingFile)), os.Remove(e.dir))
	}
	if err == nil {
		err = write(filepath.Join(e.dir, SiteFile), e.site)
	}
	if err == nil {
		text, _ := json.MarshalIndent(w.describe(e), "", "  ")
		err = write(filepath.Join(e.dir, EpisodeFile), append(text, '\n'))
	}
	if err != nil {
		return fmt.Errorf("%s: %w", e.dir, err)
	}
	w.results = append(w.results, Result{ID: e.event.ID, Dir: e.dir})
	return nil
}

// describe returns what EpisodeFile holds.
func (w *Writer) describe(e *episode) *Episode {
	ev, n := &e.event, w.names
	closed := ev.Closed.Add(e.moved)
	out := &Episode{
		Format: Format, Kind: ev.Kind, Severity: ev.Severity, Group: n.group(ev.Group), Compressor: n.member(ev.Group, ev.Compressor), Input: n.path(ev.Input),
		Phase: ev.Phase, Began: ev.Began.Add(e.moved), Opened: ev.Opened.Add(e.moved), Closed: &closed,
		FloorK: ev.FloorK, MinSuperheatK: ev.MinSuperheatK, MinMarginK: ev.MinMarginK, SecondsBelow: ev.SecondsBelow, KelvinSecondsBelow: ev.KelvinSecondsBelow,
		Circuits: []Said{}, Causes: []Said{}, Evidence: []string{}, Withdrawn: ev.Withdrawn != nil, DatesHidden: w.set.HideDates,
	}
	for _, c := range ev.Circuits {
		if name := n.member(ev.Group, c.Name); name != "" {
			out.Circuits = append(out.Circuits, Said{name, c.Score})
		}
	}
	for _, c := range ev.Causes {
		out.Causes = append(out.Causes, Said{c.Cause, c.Score})
	}
	for _, item := range ev.Evidence {
		out.Evidence = append(out.Evidence, string(item.Code))
	}
	if f := ev.Found; f != nil {
		out.Found = &Found{Cause: f.Cause, Circuit: n.member(ev.Group, f.Circuit)}
	}
	return out
}

// reasons are the codes of failures that an episode keeps.
var reasons = []string{
	reading.Timeout, reading.Refused, reading.Closed, reading.Unreachable, reading.BadFrame, reading.NoData, reading.Resting, reading.Disconnected, reading.Silent,
	reading.Invalid, reading.NotANumber, reading.OutOfRange, reading.Unparseable, reading.Skewed,
}

// neutralReason returns the code of a failure without its detail, which is free
// text of a device.
func neutralReason(r reading.Reading) string {
	if r.Reason == "" {
		return ""
	}
	code, _, _ := strings.Cut(r.Reason, ":")
	switch {
	case slices.Contains(reasons, code):
		return code
	case r.Quality == reading.Missing:
		return reading.NoData
	}
	return reading.Invalid
}

// Read reads the episode of a directory.
func Read(dir string) (*Episode, error) {
	text, err := os.ReadFile(filepath.Join(dir, EpisodeFile))
	if err != nil {
		return nil, err
	}
	e := &Episode{}
	if err := json.Unmarshal(text, e); err != nil {
		return nil, fmt.Errorf("%s: %s: %w", dir, EpisodeFile, err)
	}
	if e.Format != Format || e.Closed == nil {
		return nil, fmt.Errorf("%s: %s has the format %q; want %q with a closed event", dir, EpisodeFile, e.Format, Format)
	}
	return e, nil
}

func create(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
}

func write(path string, text []byte) error {
	f, err := create(path)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Close())
}
