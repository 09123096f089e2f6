package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"dewgap/alert"
)

type compareCmd struct {
	Old  string `required:"" type:"path" placeholder:"DIR" help:"Events of each site as they were."`
	New  string `required:"" type:"path" placeholder:"DIR" help:"Events of the same sites with another version or other settings."`
	JSON bool   `name:"json" help:"Write a JSON object a line: one for each site and kind, then one for each event that differs."`
}

func (compareCmd) Help() string {
	return "Judges a new version or new settings on the recordings of last month before they are rolled out: which events would appear, vanish or change, by site and kind. Each directory holds one file a site, SITE.jsonl, as dewgap replay --events writes it; a site without events has an empty file. Sites are independent: their replays may run anywhere, one a job. Two events are the same when they are of the same kind, place and input and overlap in time. Exit status 0: compared, whatever was found. 1: a site lacks a file, or one cannot be read."
}

func (v *compareCmd) Run(_ context.Context, con console) error {
	sites, err := sitesOf(v.Old, v.New)
	if err != nil {
		return err
	}
	var tallies []comparedTally
	var differences []eventDifference
	for _, site := range sites {
		before, err := readEventLines(filepath.Join(v.Old, site+eventsSuffix))
		if err != nil {
			return err
		}
		after, err := readEventLines(filepath.Join(v.New, site+eventsSuffix))
		if err != nil {
			return err
		}
		t, d := compareEvents(site, before, after)
		tallies, differences = append(tallies, t...), append(differences, d...)
	}
	if v.JSON {
		return writeComparedJSON(con.Out, tallies, differences)
	}
	return writeCompared(con.Out, len(sites), tallies, differences)
}

// eventsSuffix ends the name of a site's file.
const eventsSuffix = ".jsonl"

// sitesOf returns the sites that both directories have a file of. One that is only
// in one of them is an error: it would pass for a site without events.
func sitesOf(before, after string) ([]string, error) {
	in := map[string]map[string]bool{}
	for _, dir := range []string{before, after} {
		entries, err := os.ReadDir(dir)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if site, ok := strings.CutSuffix(e.Name(), eventsSuffix); ok && !e.IsDir() {
				if in[site] == nil {
					in[site] = map[string]bool{}
				}
				in[site][dir] = true
			}
		}
	}
	sites := slices.Sorted(maps.Keys(in))
	if len(sites) == 0 {
		return nil, fmt.Errorf("there is no SITE%s in %s: write one for each site by dewgap replay --events", eventsSuffix, before)
	}
	var faults []error
	for _, site := range sites {
		for _, dir := range []string{before, after} {
			if !in[site][dir] {
				faults = append(faults, fmt.Errorf("%s%s is missing in %s", site, eventsSuffix, dir))
			}
		}
	}
	return sites, errors.Join(faults...)
}

// comparedTally counts the events of one kind at one site. Those of several sites
// add up.
type comparedTally struct {
	Site     string `json:"site"`
	Kind     string `json:"kind"`
	Old      int    `json:"old"`
	New      int    `json:"new"`
	Appeared int    `json:"appeared"`
	Vanished int    `json:"vanished"`
	Changed  int    `json:"changed"`
}

// eventDifference is an event that is not in both, or not the same.
type eventDifference struct {
	Site       string        `json:"site"`
	Kind       string        `json:"kind"`
	What       string        `json:"what"` // appeared, vanished, changed
	Group      string        `json:"group"`
	Compressor string        `json:"compressor"`
	Input      string        `json:"input,omitempty"`
	Severity   string        `json:"severity"` // the new one, where there is one
	Opened     time.Time     `json:"opened"`
	Old        string        `json:"old_event,omitempty"` // identifiers of the two
	New        string        `json:"new_event,omitempty"`
	Fields     []fieldChange `json:"fields,omitempty"`
}

// fieldChange is a part of an event that differs.
type fieldChange struct {
	Field string `json:"field"`
	Old   string `json:"old"`
	New   string `json:"new"`
}

// compareEvents pairs the events of a site. Both lists are in order of opening.
func compareEvents(site string, before, after []alert.Event) (tallies []comparedTally, differences []eventDifference) {
	byKind := map[string]*comparedTally{}
	tally := func(kind string) *comparedTally {
		if byKind[kind] == nil {
			byKind[kind] = &comparedTally{Site: site, Kind: kind}
		}
		return byKind[kind]
	}
	paired := make([]bool, len(after))
	difference := func(what string, ev *alert.Event) eventDifference {
		return eventDifference{Site: site, Kind: ev.Kind, What: what, Group: ev.Group, Compressor: ev.Compressor, Input: ev.Input, Severity: ev.Severity, Opened: ev.Opened}
	}
	for i := range before {
		old := &before[i]
		t := tally(old.Kind)
		t.Old++
		k := pairOf(old, after, paired)
		if k < 0 {
			t.Vanished++
			d := difference("vanished", old)
			d.Old = old.ID
			differences = append(differences, d)
			continue
		}
		paired[k] = true
		if fields := fieldChanges(old, &after[k]); len(fields) > 0 {
			t.Changed++
			d := difference("changed", &after[k])
			d.Old, d.New, d.Fields = old.ID, after[k].ID, fields
			differences = append(differences, d)
		}
	}
	for k := range after {
		t := tally(after[k].Kind)
		t.New++
		if !paired[k] {
			t.Appeared++
			d := difference("appeared", &after[k])
			d.New = after[k].ID
			differences = append(differences, d)
		}
	}
	slices.SortStableFunc(differences, func(a, b eventDifference) int { return a.Opened.Compare(b.Opened) })
	for _, kind := range slices.Sorted(maps.Keys(byKind)) {
		tallies = append(tallies, *byKind[kind])
	}
	return tallies, differences
}

// pairOf returns the event that is not paired yet and overlaps old the longest; −1
// where none does.
func pairOf(old *alert.Event, after []alert.Event, paired []bool) int {
	best, longest := -1, time.Duration(-1)
	for k := range after {
		ev := &after[k]
		if paired[k] || ev.Kind != old.Kind || ev.Group != old.Group || ev.Compressor != old.Compressor || ev.Input != old.Input {
			continue
		}
		if common := overlap(old, ev); common >= 0 && common > longest {
			best, longest = k, common
		}
	}
	return best
}

// overlap returns how long two events lasted at once, from when they began;
// negative where they did not.
func overlap(a, b *alert.Event) time.Duration {
	end := func(ev *alert.Event) time.Time {
		if ev.Closed == nil {
			return time.Unix(1<<40, 0) // still open
		}
		return *ev.Closed
	}
	from, to := a.Began, end(a)
	if b.Began.After(from) {
		from = b.Began
	}
	if e := end(b); e.Before(to) {
		to = e
	}
	return to.Sub(from)
}

// fieldChanges returns in what two events differ that people act on.
func fieldChanges(old, now *alert.Event) (changes []fieldChange) {
	number := func(v *float64) string {
		if v == nil {
			return "unknown"
		}
		return fmt.Sprint(*v)
	}
	parts := func(ev *alert.Event) [][2]string {
		closed, cause, circuit, withdrawn := "open", "none", "none", "no"
		if ev.Closed != nil {
			closed = ev.Closed.UTC().Format(time.RFC3339)
		}
		if len(ev.Causes) > 0 {
			cause = ev.Causes[0].Cause
		}
		if len(ev.Circuits) > 0 {
			circuit = ev.Circuits[0].Name
		}
		if ev.Withdrawn != nil {
			withdrawn = string(ev.Withdrawn.Code)
		}
		return [][2]string{
			{"severity", ev.Severity}, {"opened", ev.Opened.UTC().Format(time.RFC3339)}, {"closed", closed}, {"phase", ev.Phase},
			{"cause", cause}, {"circuit", circuit}, {"withdrawn", withdrawn},
			{"min_superheat_k", number(ev.MinSuperheatK)}, {"min_margin_k", number(ev.MinMarginK)},
			{"seconds_below", fmt.Sprint(ev.SecondsBelow)}, {"kelvin_seconds_below", fmt.Sprint(ev.KelvinSecondsBelow)},
		}
	}
	was, is := parts(old), parts(now)
	for i := range was {
		if was[i] != is[i] {
			changes = append(changes, fieldChange{was[i][0], was[i][1], is[i][1]})
		}
	}
	return changes
}

func writeComparedJSON(w io.Writer, tallies []comparedTally, differences []eventDifference) error {
	out := json.NewEncoder(w)
	for i := range tallies {
		if err := out.Encode(&tallies[i]); err != nil {
			return err
		}
	}
	for i := range differences {
		if err := out.Encode(&differences[i]); err != nil {
			return err
		}
	}
	return nil
}

// writeCompared writes a table by site and kind, its sums by kind, and each
// difference.
func writeCompared(w io.Writer, sites int, tallies []comparedTally, differences []eventDifference) error {
	out := bufio.NewWriter(w)
	table := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "site\tkind\told\tnew\tappeared\tvanished\tchanged")
	row := func(t *comparedTally) {
		fmt.Fprintf(table, "%s\t%s\t%d\t%d\t%d\t%d\t%d\n", t.Site, t.Kind, t.Old, t.New, t.Appeared, t.Vanished, t.Changed)
	}
	sums := map[string]*comparedTally{}
	for i := range tallies {
		t := &tallies[i]
		row(t)
		if sums[t.Kind] == nil {
			sums[t.Kind] = &comparedTally{Site: fmt.Sprintf("all %d sites", sites), Kind: t.Kind}
		}
		s := sums[t.Kind]
		s.Old, s.New, s.Appeared, s.Vanished, s.Changed = s.Old+t.Old, s.New+t.New, s.Appeared+t.Appeared, s.Vanished+t.Vanished, s.Changed+t.Changed
	}
	for _, kind := range slices.Sorted(maps.Keys(sums)) {
		row(sums[kind])
	}
	if err := table.Flush(); err != nil {
		return err
	}
	if len(differences) > 0 {
		fmt.Fprintln(out)
	}
	for i := range differences {
		d := &differences[i]
		place := d.Group
		if d.Compressor != "" {
			place += " " + d.Compressor
		}
		if d.Input != "" {
			place = d.Input
		}
		fmt.Fprintf(out, "%s: %s %s %s, %s, opened %s", d.Site, d.What, d.Severity, d.Kind, place, d.Opened.UTC().Format(time.RFC3339))
		for n, f := range d.Fields {
			separator := ", "
			if n == 0 {
				separator = ": "
			}
			fmt.Fprintf(out, "%s%s %s → %s", separator, f.Field, f.Old, f.New)
		}
		fmt.Fprintln(out)
	}
	return out.Flush()
}
