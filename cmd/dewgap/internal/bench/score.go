// Package bench scores the analysis against recordings whose truth is known:
// phases, floodback episodes, severity, causes, circuits, false alarms.
//
// It may import everything; nothing imports it but the tests beside it.
package bench

import (
	"fmt"
	"io"
	"slices"
	"sort"
	"time"

	"dewgap/alert"
	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
)

// Truth is what really happened at one compressor at one row.
type Truth struct {
	Phase     phase.Phase
	Superheat float64 // K at the inlet; meaningless when not running
	Liquid    float64 // mass fraction at the inlet
	Floor     float64 // K, by the true phase
	Flooded   bool    // this run began as a flooded start
}

// Tally is a score over any number of recordings.
type Tally struct {
	confusion                    [phase.Count][phase.Count]float64 // [truth][told], hours
	episodes, found              int
	events, right                int
	delays                       []float64
	severe, severeRight          int
	severeDis, severeDisRight    int
	severity                     [4][4]int // [truth][told]
	caused, causeFirst, causeTop int
	placed, placeFirst           int
	starts, startsFound          int
	startEvents, startFalse      int
	faults, faultsFound          int
	faultFalse                   int
	healthyDays, days            float64
	healthyFalse                 int
	otherEvents                  map[string]int
	Notes                        []string
}

// Case is one recording's truth and what was told of it, for one site.
type Case struct {
	Name       string
	Healthy    bool
	Causes     []string // true causes; empty when the floodback has none to name
	Circuit    string   // the circuit at fault
	FaultInput string   // the input with a faulty sensor
	Discharge  bool     // discharge temperatures are there
	Kinds      []floodback.CompressorKind
	Hold       floodback.ByPhase[time.Duration]

	times []time.Time
	truth [][]Truth       // [row][compressor]
	told  [][]phase.Phase // [row][compressor]
	good  [][]bool
}

// Take adds one row.
func (c *Case) Take(at time.Time, truth []Truth, told []phase.Phase, quality []reading.Quality) {
	c.times = append(c.times, at)
	c.truth = append(c.truth, slices.Clone(truth))
	c.told = append(c.told, slices.Clone(told))
	g := make([]bool, len(quality))
	for i, q := range quality {
		g[i] = q == reading.Good || q == reading.Suspect
	}
	c.good = append(c.good, g)
}

// Score adds the case to t. events are those of the whole case.
func (t *Tally) Score(c *Case, events []alert.Event, member []string) {
	if len(c.times) < 2 {
		return
	}
	span := c.times[len(c.times)-1].Sub(c.times[0]).Hours() / 24
	for k := range member {
		t.phases(c, k)
		t.days += span
		if c.Healthy {
			t.healthyDays += span
		}
		t.floodback(c, k, member[k], events)
		t.flooded(c, k, member[k], events)
	}
	t.sensors(c, events)
}

// forgiven is how far from an edge of the truth a phase may still be the
// neighbour's.
const forgiven = 2 * time.Minute

func (t *Tally) phases(c *Case, k int) {
	type edge struct {
		at       time.Time
		from, to phase.Phase
	}
	var edges []edge
	for i := 1; i < len(c.times); i++ {
		if a, b := c.truth[i-1][k].Phase, c.truth[i][k].Phase; a != b {
			edges = append(edges, edge{c.times[i], a, b})
		}
	}
	first := 0
	for i := range c.times {
		dt := 0.0
		if i+1 < len(c.times) {
			dt = min(c.times[i+1].Sub(c.times[i]).Hours(), 0.02)
		}
		want, told := c.truth[i][k].Phase, c.told[i][k]
		for first < len(edges) && edges[first].at.Before(c.times[i].Add(-forgiven)) {
			first++
		}
		for j := first; j < len(edges) && !edges[j].at.After(c.times[i].Add(forgiven)); j++ {
			if told == edges[j].from || told == edges[j].to {
				told = want
			}
		}
		t.confusion[want][told] += dt
	}
}

type episode struct {
	from, to time.Time
	lasts    bool // below for the hold time without a break
	reached  time.Time
	liquid   float64
	major    bool
}

// episodes finds the true episodes of compressor k.
func (c *Case) episodes(k int) []episode {
	var out []episode
	var e *episode
	var run, clear, above time.Duration
	var limit float64
	switch c.Kinds[k] {
	case floodback.AirCooledSemiHermetic:
		limit = 0.03
	case floodback.RefrigerantCooledSemiHermetic:
		limit = 0.06
	default:
		limit = 0.05
	}
	var wetRun time.Duration
	for i := 1; i < len(c.times); i++ {
		x := c.truth[i][k]
		dt := c.times[i].Sub(c.times[i-1])
		counts := x.Phase != phase.Off && x.Phase != phase.Start
		margin := x.Superheat - x.Floor
		if counts && margin < 0 {
			if e == nil {
				out = append(out, episode{from: c.times[i]})
				e = &out[len(out)-1]
			}
			run += dt
			clear = 0
			e.to = c.times[i]
			if run >= c.Hold.In(x.Phase) && !e.lasts {
				e.lasts, e.reached = true, c.times[i]
			}
			e.liquid = max(e.liquid, x.Liquid)
			if x.Liquid >= limit {
				wetRun += dt
			} else {
				wetRun = 0
			}
			if wetRun >= 30*time.Second {
				e.major = true
			}
			continue
		}
		run, wetRun = 0, 0
		if e == nil {
			continue
		}
		if !counts || margin > 2 {
			clear += dt
		} else {
			above += dt
		}
		if clear >= 120*time.Second {
			e, clear = nil, 0
		}
	}
	return out
}

func (t *Tally) floodback(c *Case, k int, name string, events []alert.Event) {
	eps := c.episodes(k)
	var mine []alert.Event
	for _, ev := range events {
		if ev.Kind == "floodback" && ev.Compressor == name {
			mine = append(mine, ev)
		} else if ev.Compressor == name {
			if t.otherEvents == nil {
				t.otherEvents = map[string]int{}
			}
			t.otherEvents[ev.Kind]++
		}
	}
	end := c.times[len(c.times)-1]
	closed := func(ev alert.Event) time.Time {
		if ev.Closed == nil {
			return end
		}
		return *ev.Closed
	}
	for _, ev := range mine {
		t.events++
		ok := false
		for _, e := range eps {
			if !e.from.After(closed(ev)) && !e.to.Before(ev.Began.Add(-30*time.Second)) {
				ok = true
			}
		}
		if ok {
			t.right++
		} else {
			t.note("%s %s: false event %s…%s %s phase %s min %v", c.Name, name, ev.Began.Format("15:04:05"), closed(ev).Format("15:04:05"), ev.Severity, ev.Phase, deref(ev.MinMarginK))
			if c.Healthy {
				t.healthyFalse++
			}
		}
	}
	for _, e := range eps {
		if !e.lasts {
			continue
		}
		t.episodes++
		var hit *alert.Event
		for i := range mine {
			if !mine[i].Began.After(e.to) && !closed(mine[i]).Before(e.from) {
				hit = &mine[i]
				break
			}
		}
		if hit == nil {
			t.note("%s %s: missed episode %s…%s liquid %.3f", c.Name, name, e.from.Format("15:04:05"), e.to.Format("15:04:05"), e.liquid)
			continue
		}
		t.found++
		t.delays = append(t.delays, hit.Opened.Sub(e.reached).Seconds())
		want := floodback.Risk
		switch {
		case e.major:
			want = floodback.Major
		case e.liquid > 0.005:
			want = floodback.Minor
		}
		told := map[string]floodback.Severity{"risk": floodback.Risk, "minor": floodback.Minor, "major": floodback.Major}[hit.Severity]
		t.severity[want][told]++
		t.severe++
		if c.Discharge {
			t.severeDis++
		}
		if want == told {
			t.severeRight++
			if c.Discharge {
				t.severeDisRight++
			}
		} else {
			t.note("%s %s: severity %s told %s at %s…%s liquid %.3f, %v", c.Name, name, want, told, e.from.Format("15:04:05"), e.to.Format("15:04:05"), e.liquid, hit.Evidence)
		}
		t.attribute(c, hit)
	}
}

func deref(x *float64) float64 {
	if x == nil {
		return 0
	}
	return *x
}

func (t *Tally) note(format string, args ...any) {
	t.Notes = append(t.Notes, fmt.Sprintf(format, args...))
}

// same folds the causes that stand for each other.
func same(cause string) string {
	switch cause {
	case "defrost_incomplete":
		return "iced_coil"
	case "valve_hunting":
		return "valve_oversized"
	}
	return cause
}

func (t *Tally) attribute(c *Case, ev *alert.Event) {
	if len(c.Causes) > 0 {
		t.caused++
		for i, x := range ev.Causes {
			if i < 3 && slices.ContainsFunc(c.Causes, func(w string) bool { return same(w) == same(x.Cause) }) {
				t.causeTop++
				if i == 0 {
					t.causeFirst++
				}
				break
			}
		}
		if len(ev.Causes) == 0 || !slices.ContainsFunc(c.Causes, func(w string) bool { return same(w) == same(ev.Causes[0].Cause) }) {
			t.note("%s: cause %v told %v", c.Name, c.Causes, ev.Causes)
		}
	}
	if c.Circuit != "" {
		t.placed++
		if len(ev.Circuits) > 0 && ev.Circuits[0].Name == c.Circuit {
			t.placeFirst++
		} else {
			t.note("%s: circuit %s told %v", c.Name, c.Circuit, ev.Circuits)
		}
	}
}

func (t *Tally) flooded(c *Case, k int, name string, events []alert.Event) {
	var starts []time.Time
	for i := 1; i < len(c.times); i++ {
		if c.truth[i][k].Flooded && !c.truth[i-1][k].Flooded {
			starts = append(starts, c.times[i])
		}
	}
	t.starts += len(starts)
	near := func(ev alert.Event, s time.Time) bool {
		return ev.Kind == "flooded_start" && ev.Compressor == name && ev.Began.After(s.Add(-time.Minute)) && ev.Began.Before(s.Add(10*time.Minute))
	}
	for _, s := range starts {
		if slices.ContainsFunc(events, func(ev alert.Event) bool { return near(ev, s) }) {
			t.startsFound++
		} else {
			t.note("%s %s: missed flooded start %s", c.Name, name, s.Format("15:04:05"))
		}
	}
	for _, ev := range events {
		if ev.Kind != "flooded_start" || ev.Compressor != name {
			continue
		}
		t.startEvents++
		if !slices.ContainsFunc(starts, func(s time.Time) bool { return near(ev, s) }) {
			t.startFalse++
			t.note("%s %s: false flooded start %s %v", c.Name, name, ev.Opened.Format("15:04:05"), ev.Evidence)
		}
	}
}

func (t *Tally) sensors(c *Case, events []alert.Event) {
	hit := false
	for _, ev := range events {
		if ev.Kind != "sensor_fault" {
			continue
		}
		if c.FaultInput != "" && ev.Input == c.FaultInput {
			hit = true
		} else if c.FaultInput == "" {
			t.faultFalse++
			t.note("%s: false sensor fault %s %v", c.Name, ev.Input, ev.Evidence)
		}
	}
	if c.FaultInput != "" {
		t.faults++
		if hit {
			t.faultsFound++
		} else {
			t.note("%s: missed sensor fault of %s", c.Name, c.FaultInput)
		}
	}
}

// MacroF1 returns the mean F1 over the phases that really occurred.
func (t *Tally) MacroF1() (float64, map[string]float64) {
	each := map[string]float64{}
	sum, n := 0.0, 0
	for p := phase.Off; p <= phase.Steady; p++ {
		var tp, fp, fn float64
		for q := range phase.Phase(phase.Count) {
			if q == p {
				tp = t.confusion[p][p]
			} else {
				fn += t.confusion[p][q]
				fp += t.confusion[q][p]
			}
		}
		if tp+fn == 0 {
			continue
		}
		f1 := 2 * tp / (2*tp + fp + fn)
		each[p.String()] = f1
		sum += f1
		n++
	}
	return sum / float64(max(n, 1)), each
}

// Figure is one line of the table: a share or a number, and which way is better.
type Figure struct {
	Name   string
	Value  float64
	Of     int // how many the figure stands on; 0 when it stands on nothing
	Higher bool
}

func share(a, b int) float64 { return float64(a) / float64(max(b, 1)) }

// Figures returns the table.
func (t *Tally) Figures() []Figure {
	f1, _ := t.MacroF1()
	median, p95 := 0.0, 0.0
	if n := len(t.delays); n > 0 {
		d := slices.Clone(t.delays)
		sort.Float64s(d)
		median, p95 = d[n/2], d[min(n-1, n*95/100)]
	}
	return []Figure{
		{"phase macro-F1", f1, int(t.days * 24), true},
		{"floodback recall", share(t.found, t.episodes), t.episodes, true},
		{"floodback precision", share(t.right, t.events), t.events, true},
		{"delay after hold, median, s", median, len(t.delays), false},
		{"delay after hold, 95 %, s", p95, len(t.delays), false},
		{"false floodback per 100 healthy compressor-days", float64(t.healthyFalse) / max(t.healthyDays, 1e-9) * 100, int(t.healthyDays), false},
		{"severity right", share(t.severeRight, t.severe), t.severe, true},
		{"severity right with discharge temperature", share(t.severeDisRight, t.severeDis), t.severeDis, true},
		{"cause first", share(t.causeFirst, t.caused), t.caused, true},
		{"cause in first three", share(t.causeTop, t.caused), t.caused, true},
		{"circuit first", share(t.placeFirst, t.placed), t.placed, true},
		{"flooded start recall", share(t.startsFound, t.starts), t.starts, true},
		{"false flooded starts per 100 compressor-days", float64(t.startFalse) / max(t.days, 1e-9) * 100, int(t.days), false},
		{"sensor fault recall", share(t.faultsFound, t.faults), t.faults, true},
		{"false sensor faults per 100 compressor-days", float64(t.faultFalse) / max(t.days, 1e-9) * 100, int(t.days), false},
	}
}

// Print writes the table for people.
func (t *Tally) Print(w io.Writer) {
	for _, f := range t.Figures() {
		if f.Of > 0 {
			fmt.Fprintf(w, "  %-50s %8.3f  (of %d)\n", f.Name, f.Value, f.Of)
		}
	}
	_, each := t.MacroF1()
	fmt.Fprintf(w, "  F1 by phase: %v\n  severity [truth][told risk minor major]: %v\n  other events: %v\n", each, t.severity[1:], t.otherEvents)
	for p := phase.Off; p <= phase.Steady; p++ {
		fmt.Fprintf(w, "  %-9s told unknown %.2f off %.2f start %.2f pulldown %.2f defrost %.2f steady %.2f h\n", p, t.confusion[p][0], t.confusion[p][1], t.confusion[p][2], t.confusion[p][3], t.confusion[p][4], t.confusion[p][5])
	}
}

// add takes the scores of u into t.
func (t *Tally) add(u *Tally) {
	for i := range t.confusion {
		for j := range t.confusion[i] {
			t.confusion[i][j] += u.confusion[i][j]
		}
	}
	for i := range t.severity {
		for j := range t.severity[i] {
			t.severity[i][j] += u.severity[i][j]
		}
	}
	for _, p := range []struct {
		to   *int
		from int
	}{
		{&t.episodes, u.episodes}, {&t.found, u.found}, {&t.events, u.events}, {&t.right, u.right},
		{&t.severe, u.severe}, {&t.severeRight, u.severeRight}, {&t.severeDis, u.severeDis}, {&t.severeDisRight, u.severeDisRight},
		{&t.caused, u.caused}, {&t.causeFirst, u.causeFirst}, {&t.causeTop, u.causeTop}, {&t.placed, u.placed}, {&t.placeFirst, u.placeFirst},
		{&t.starts, u.starts}, {&t.startsFound, u.startsFound}, {&t.startEvents, u.startEvents}, {&t.startFalse, u.startFalse},
		{&t.faults, u.faults}, {&t.faultsFound, u.faultsFound}, {&t.faultFalse, u.faultFalse}, {&t.healthyFalse, u.healthyFalse},
	} {
		*p.to += p.from
	}
	t.delays = append(t.delays, u.delays...)
	t.healthyDays += u.healthyDays
	t.days += u.days
	for k, n := range u.otherEvents {
		if t.otherEvents == nil {
			t.otherEvents = map[string]int{}
		}
		t.otherEvents[k] += n
	}
	t.Notes = append(t.Notes, u.Notes...)
}
