package firstlook

import (
	"math"
	"strconv"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/config"
)

// Verdict on an input or a compressor.
type Verdict string

// Verdicts. Stopped and NotYet are of compressors only.
const (
	Good       Verdict = "good"
	BelowFloor Verdict = "below floor" // the readings are in order, the superheat is not
	Stopped    Verdict = "stopped"     // superheat shows only while it runs
	NotYet     Verdict = "not yet"     // too little was seen
	Doubtful   Verdict = "doubtful"    // a reading is there that cannot be right
	Failing    Verdict = "failing"     // no reading
)

// Report is what a look has shown so far. Numbers are in SI; a null is not
// known. Texts are for people, in the units of the site file.
type Report struct {
	Site        string       `json:"site"`
	Time        time.Time    `json:"time"`
	Rows        int          `json:"rows"`
	Compressors []Compressor `json:"compressors"`
	Points      []Point      `json:"points"`
	Counts      Counts       `json:"counts"`
}

// Compressor is one line of the report.
type Compressor struct {
	Group       string   `json:"group"`
	Name        string   `json:"compressor"`
	Phase       string   `json:"phase"`
	Verdict     Verdict  `json:"verdict"`
	Pressure    *float64 `json:"suction_pressure_pa"`
	Dew         *float64 `json:"dew_c"`
	Line        *float64 `json:"suction_temperature_c"`
	Superheat   *float64 `json:"superheat_k"`
	Uncertainty *float64 `json:"expanded_uncertainty_k"`
	Floor       *float64 `json:"floor_k"`
	Shown       Shown    `json:"text"`
	Notes       []string `json:"notes,omitempty"`
}

// Shown are the quantities of a compressor for people; empty where not known.
type Shown struct {
	Pressure  string `json:"suction_pressure,omitempty"`
	Dew       string `json:"dew,omitempty"`
	Line      string `json:"suction_temperature,omitempty"`
	Superheat string `json:"superheat,omitempty"`
}

// Point is one input of the report.
type Point struct {
	Path     string   `json:"input"`
	Verdict  Verdict  `json:"verdict"`
	Value    *float64 `json:"value"`
	Text     string   `json:"text,omitempty"`
	Where    string   `json:"where,omitempty"`
	Raw      string   `json:"raw,omitempty"`
	Code     string   `json:"code,omitempty"` // of what is wrong
	Why      string   `json:"why,omitempty"`
	Remedies []Remedy `json:"remedies,omitempty"` // the likeliest first
	Notes    []string `json:"notes,omitempty"`
	// Compared is the comparison with a gauge; empty where nobody made one.
	Compared string `json:"compared,omitempty"`
	// Comparable is false for a switch, which no gauge shows.
	Comparable bool `json:"comparable"`
}

// Counts close a report.
type Counts struct {
	Points        int `json:"points"`
	Good          int `json:"good"`
	Doubtful      int `json:"doubtful"`
	Failing       int `json:"failing"`
	NeverCompared int `json:"never_compared"`
}

// Report returns what was seen so far. Without a row it is what the probes
// showed.
func (l *Look) Report() Report {
	r := Report{Site: l.config.Site.Name, Time: l.result.Time, Rows: l.rows, Compressors: []Compressor{}, Points: []Point{}}
	for i := range l.config.Site.Points {
		p := l.point(i)
		r.Points = append(r.Points, p)
		r.Counts.Points++
		switch p.Verdict {
		case Good:
			r.Counts.Good++
		case Doubtful:
			r.Counts.Doubtful++
		default:
			r.Counts.Failing++
		}
		if p.Comparable && p.Compared == "" {
			r.Counts.NeverCompared++
		}
	}
	for i := range l.result.States {
		r.Compressors = append(r.Compressors, l.compressor(&l.result.States[i]))
	}
	return r
}

// AllGood reports whether no input and no compressor is doubtful or failing.
func (r *Report) AllGood() bool {
	for i := range r.Compressors {
		if v := r.Compressors[i].Verdict; v == Doubtful || v == Failing {
			return false
		}
	}
	return r.Counts.Doubtful+r.Counts.Failing == 0
}

func (l *Look) point(i int) Point {
	site := &l.config.Site
	probe, probed := l.probes[i]
	p := Point{
		Path: site.Points[i].Path, Where: probe.Where, Raw: probe.Raw,
		Compared: l.config.Verified[i].String(), Comparable: config.IsComparable(site.Points[i].Role.Kind()),
	}
	q, v := probe.Quality, probe.Value
	if l.rows > 0 {
		in := &l.result.Inputs[i]
		q, v = in.Quality, in.Value
		if in.Reason != nil {
			p.Code, p.Why = string(in.Reason.Code), l.renderer().Text(*in.Reason)
		}
	} else if probed {
		p.Why = probe.Reason
	}
	if !q.HasValue() {
		v = math.NaN()
	}
	p.Verdict, p.Value, p.Text = verdictOf(q), known(v), l.text(i, v)
	if l.rows > 0 {
		p.Remedies = l.remedies(i)
	}
	p.Notes = probe.Notes
	if probe.Sentinel != "" && p.Verdict == Good {
		p.Verdict, p.Code, p.Why = Doubtful, "may_be_sentinel", "many devices send "+probe.Sentinel+" where they have no value"
		p.Remedies = []Remedy{l.remedy(i, "sentinel", "["+probe.Sentinel+"]", "if the manual agrees, add sentinel = ["+probe.Sentinel+"]")}
	}
	return p
}

func (l *Look) compressor(st *analyze.State) Compressor {
	u := l.config.Units
	c := Compressor{
		Group: st.Group, Name: st.Name, Phase: st.Phase.String(),
		Pressure: known(float64(st.SuctionPressure)), Dew: known(float64(st.Dew)), Line: known(float64(st.SuctionTemperature)),
		Superheat: known(float64(st.Superheat)), Uncertainty: known(float64(st.Uncertainty)), Floor: known(float64(st.Floor)),
	}
	if c.Pressure != nil {
		if at := l.pressurePoint(st.Group, st.Name); at >= 0 {
			c.Shown.Pressure = l.text(at, *c.Pressure)
		}
	}
	if c.Dew != nil {
		c.Shown.Dew = u.Temperature(st.Dew)
	}
	if c.Line != nil {
		c.Shown.Line = u.Temperature(st.SuctionTemperature)
	}
	if c.Superheat != nil {
		c.Shown.Superheat = u.Difference(st.Superheat)
		if c.Uncertainty != nil {
			c.Shown.Superheat += " ± " + u.Difference(st.Uncertainty)
		}
	}
	switch c.Verdict = verdictOf(st.Quality); {
	case c.Verdict != Good:
		if st.Reason != nil {
			c.Notes = append(c.Notes, sentence(l.renderer().Text(*st.Reason)))
		}
	case st.Phase == frame.Off:
		c.Verdict = Stopped
		c.Notes = append(c.Notes, l.standing(st)...)
	case st.Phase == frame.Unknown && l.signalsRunning(st):
		c.Verdict = NotYet
		c.Notes = append(c.Notes, "Not judged yet: the analysis needs about a minute of rows. Look for longer with --for.")
	case c.Superheat == nil || st.Phase == frame.Unknown:
		c.Verdict = NotYet
		c.Notes = append(c.Notes, "Whether it runs is not known yet, and superheat counts only while it runs: look again after a start and a stop, or add the input running.")
	case st.Margin < 0 && st.Phase == frame.Start:
		c.Verdict = NotYet
		c.Notes = append(c.Notes, "Below the floor of "+u.Difference(st.Floor)+", and just started: the first two minutes count for nothing. Look again.")
	case st.Margin < 0:
		c.Verdict = BelowFloor
		c.Notes = append(c.Notes, "Below the floor of "+u.Difference(st.Floor)+". Compare pressure and line temperature with gauge and thermometer before you believe or dismiss it.")
	}
	return c
}

// signalsRunning reports whether an input shows that a compressor runs, before its
// phase is known.
func (l *Look) signalsRunning(st *analyze.State) bool {
	at := l.pointAt(st.Group, st.Name, reading.Running)
	return at >= 0 && l.result.Inputs[at].Quality == reading.Good && l.result.Inputs[at].Value != 0
}

// standing are the notes about a stopped compressor: what its readings show now,
// and what only running shows.
func (l *Look) standing(st *analyze.State) []string {
	u := l.config.Units
	notes := []string{"Superheat shows only while it runs: look again then."}
	if math.IsNaN(float64(st.Dew)) || math.IsNaN(float64(st.SuctionTemperature)) {
		return notes
	}
	above := st.SuctionTemperature.Above(st.Dew)
	text := "Standing, its line is " + u.Difference(above) + " above dew"
	if above < 0 {
		text = "Standing, its line is " + u.Difference(-above) + " below dew"
	}
	if l.othersRun(st) {
		text += "; others of the group run and hold the pressure down, so the two need not agree."
	} else {
		text += "; when the whole group has stood for half an hour, dew comes to the coldest place that holds liquid, and line and room agree. Until then the two need not."
	}
	notes = append(notes, text)
	if at := l.pointAt(st.Group, "", reading.AmbientTemperature); at >= 0 && l.result.Inputs[at].Quality == reading.Good {
		notes = append(notes, "The room is at "+u.Temperature(units.Celsius(l.result.Inputs[at].Value))+"; after an hour of standing the line reads the same.")
	}
	return notes
}

func (l *Look) othersRun(st *analyze.State) bool {
	for i := range l.result.States {
		o := &l.result.States[i]
		if o.Group == st.Group && o.Name != st.Name && o.Phase != frame.Off && o.Phase != frame.Unknown {
			return true
		}
	}
	return false
}

// Moved returns how far a point's value moved while it was looked at, in SI.
func (l *Look) Moved(point int) float64 { return l.seen[point].high - l.seen[point].low }

// known returns x; nil where it is not known.
func known(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	x = math.Round(x*1000) / 1000
	return &x
}

func share(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) + " %" }
