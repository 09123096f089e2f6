// Package commissioning judges the defrost cycles that a recording holds: when
// each stage was, how low the superheat went and how well that is known, and
// whether the criteria of the configuration were met. It gives a Record, which
// package report writes for people.
//
// It is pure: rows' results in, a record out; no clock, no file, no network.
// It may import analyze, alert and config (for the criteria).
package commissioning

import (
	"fmt"
	"slices"
	"time"

	"dewgap/alert"
	"dewgap/analyze/cause"
	"dewgap/analyze/reading"
	"dewgap/config"
)

// Verdict on a cycle, a compressor, a circuit or the whole record.
type Verdict string

// Verdicts, best first. NotJudged stands where the recording cannot show
// whether a criterion was met; it is never a pass.
const (
	Pass        Verdict = "pass"
	PassRemarks Verdict = "pass_with_remarks"
	NotJudged   Verdict = "not_judged"
	Fail        Verdict = "fail"
)

var ranks = map[Verdict]int{Pass: 0, PassRemarks: 1, NotJudged: 2, Fail: 3}

// worse returns the worse of two verdicts.
func worse(a, b Verdict) Verdict {
	if ranks[b] > ranks[a] {
		return b
	}
	return a
}

// Compare returns less than 0 where v is better than other, more where worse.
func (v Verdict) Compare(other Verdict) int { return ranks[v] - ranks[other] }

// Words returns the verdict in plain English.
func (v Verdict) Words() string {
	switch v {
	case PassRemarks:
		return "pass with remarks"
	case NotJudged:
		return "not judged"
	}
	return string(v)
}

// Outcome of one criterion.
type Outcome string

// Outcomes. NotRecorded: the recording has no input for it, or the plant gave
// no occasion; it decides nothing.
const (
	Met         Outcome = "met"
	Remark      Outcome = "remark"
	NotMet      Outcome = "not_met"
	CannotTell  Outcome = "cannot_tell"
	NotRecorded Outcome = "not_recorded"
)

// Check is one criterion with what was found. Measured and Limit are in Unit:
// s, K, degC or share (0 to 1); null where there is no figure.
type Check struct {
	Criterion string   `json:"criterion"`
	Outcome   Outcome  `json:"outcome"`
	Measured  *float64 `json:"measured"`
	Limit     *float64 `json:"limit"`
	Unit      string   `json:"unit,omitempty"`
	Text      string   `json:"says"` // in the units that were asked for
}

// Record is the acceptance record of a recording. Its JSON has SI units, null
// for what is not known, and times in RFC 3339.
type Record struct {
	Format    string    `json:"format"` // "dewgap commissioning record 1"
	Dewgap    string    `json:"dewgap"` // version of the program
	Site      string    `json:"site"`
	Simulated bool      `json:"simulated"` // the plant is invented: it signs for nothing
	Config    File      `json:"config"`
	Data      []File    `json:"recordings"`
	From      time.Time `json:"from"`
	To        time.Time `json:"to"`
	Rows      int       `json:"rows"`
	Verdict   Verdict   `json:"verdict"`
	Reasons   []string  `json:"reasons"`
	Criteria  []Rule    `json:"criteria"`
	Circuits  []Circuit `json:"circuits"`
	Groups    []Group   `json:"groups"`
	Sensors   []Sensors `json:"uncertainty"`
	Cycles    []Cycle   `json:"cycles"`
	// Compared are the recorded inputs that somebody compared with a gauge;
	// NeverCompared are the pressures and temperatures that nobody did.
	Compared      []Comparison `json:"compared"`
	NeverCompared []string     `json:"never_compared"`

	View View `json:"-"`
}

// Format names the record's form; the number grows when a key changes its meaning.
const Format = "dewgap commissioning record 1"

// Comparison of an input with a gauge or thermometer, as the configuration states
// it.
type Comparison struct {
	Input string `json:"input"`
	On    string `json:"on"` // day
	By    string `json:"by"`
	Gauge string `json:"gauge"`
	Read  string `json:"read"`
}

// SetComparisons writes which of the recorded inputs were compared with a gauge.
// compared has the index of points.
func (r *Record) SetComparisons(recorded, points []reading.Point, compared []config.Verification) {
	r.Compared, r.NeverCompared = []Comparison{}, []string{}
	for _, p := range recorded {
		if !config.IsComparable(p.Role.Kind()) {
			continue
		}
		at := slices.IndexFunc(points, func(q reading.Point) bool { return q.Path == p.Path })
		if at < 0 || compared[at].IsZero() {
			r.NeverCompared = append(r.NeverCompared, p.Path)
			continue
		}
		v := &compared[at]
		r.Compared = append(r.Compared, Comparison{p.Path, v.On.Format(time.DateOnly), v.By, v.Gauge, v.Read})
	}
}

// File is a file that the record rests on.
type File struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
}

// Rule is a criterion as it was applied.
type Rule struct {
	Criterion  string `json:"criterion"`
	RemarkOnly bool   `json:"remark_only"`
	Text       string `json:"says"`
}

// Group is a suction group with its check of a standing system.
type Group struct {
	Name        string  `json:"group"`
	Refrigerant string  `json:"refrigerant"`
	Steady      float64 `json:"floor_steady_k"`
	Pulldown    float64 `json:"floor_pulldown_k"`
	Equalised   Check   `json:"equalised"`
}

// Sensors holds where the uncertainty of a compressor's superheat comes from in
// steady running; null and empty where none was seen.
type Sensors struct {
	Group      string   `json:"group"`
	Compressor string   `json:"compressor"`
	Expanded   *float64 `json:"expanded_uncertainty_k"` // k = 2
	Parts      []Part   `json:"parts"`                  // largest first
}

// Part is one part of the uncertainty. Assumed: the configuration does not
// state it, and a typical installation is taken.
type Part struct {
	Name    string  `json:"part"`
	Share   float64 `json:"share"` // of the variance
	Assumed bool    `json:"assumed"`
}

// Circuit sums up the cycles of one circuit.
type Circuit struct {
	Group   string   `json:"group"`
	Name    string   `json:"circuit"`
	Defrost string   `json:"defrost_kind"`
	Verdict Verdict  `json:"verdict"`
	Cycles  int      `json:"cycles"`
	Passed  int      `json:"passed_in_a_row"` // up to the last one
	Needed  int      `json:"passes_needed"`
	Reasons []string `json:"reasons"`
}

// Cycle is one defrost of one circuit with the pulldown after it.
type Cycle struct {
	Group       string    `json:"group"`
	Circuit     string    `json:"circuit"`
	Defrost     string    `json:"defrost_kind"`
	Number      int       `json:"number"` // of this circuit's cycles in the recording
	Verdict     Verdict   `json:"verdict"`
	Reasons     []string  `json:"reasons"`
	Cut         bool      `json:"cut"` // begins before or ends after the recording, or has a gap in it
	Stages      Stages    `json:"stages"`
	Together    []string  `json:"resumed_within_5_min"` // circuits that came back with this one
	Checks      []Check   `json:"checks"`               // of the circuit itself
	Compressors []Machine `json:"compressors"`
	// DisturbedBy is the circuit whose liquid failed the compressors in this cycle,
	// where that is likely and the circuit that defrosted did nothing wrong itself.
	DisturbedBy string            `json:"disturbed_by,omitempty"`
	Liquid      []Likely          `json:"likely_circuits"`
	Causes      []Likely          `json:"likely_causes"`
	Next        []cause.CheckText `json:"check_next"`
	Found       []OnSite          `json:"found,omitempty"` // of events in the cycle, where a journal is given
	Traces      []Trace           `json:"-"`               // one for each of Compressors
	Coil        []float32         `json:"-"`               // °C, for the plots; same times as the traces
	Times       []time.Time       `json:"-"`
}

// OnSite is what somebody found for an event in a cycle.
type OnSite struct {
	Event string `json:"event"`
	alert.Found
}

// Text writes it for people.
func (f *OnSite) Text(v View) string {
	text := "nothing was the matter"
	if f.Cause != alert.CauseNone {
		text = cause.Words(f.Cause)
	}
	if f.Circuit != "" {
		text += ", circuit " + f.Circuit
	}
	text += fmt.Sprintf(", by %s at %s", f.By, v.Stamp(f.At))
	if f.Note != "" {
		text += ": " + f.Note
	}
	return text + " (" + f.Event + ")"
}

// Stages are the instants and lengths of a cycle; null where they did not
// come, or no input shows them.
type Stages struct {
	Began        *time.Time `json:"began"`
	Warming      *time.Time `json:"coil_warming"`
	PlateauBegan *time.Time `json:"plateau_began"`
	PlateauEnded *time.Time `json:"plateau_ended"`
	HeatEnded    *time.Time `json:"heat_ended"`
	Resumed      *time.Time `json:"resumed"`
	AirCooling   *time.Time `json:"air_cooling"`
	Steady       *time.Time `json:"steady"`
	PumpDown     *float64   `json:"pump_down_s"`
	Plateau      *float64   `json:"plateau_s"`
	Heat         *float64   `json:"heat_s"`
	Drip         *float64   `json:"drip_s"`
	Pulldown     *float64   `json:"pulldown_s"`
	PlateauAt    *float64   `json:"plateau_c"`
	Peak         *float64   `json:"coil_peak_c"`
	EndedAt      *float64   `json:"coil_at_heat_end_c"`
	Termination  string     `json:"termination"` // "temperature", "time", "unknown"
}

// Machine is what one compressor went through in a cycle: from the beginning
// of the defrost until its pulldown was over. Only running counts, and not the
// first 120 s of it (phase start).
type Machine struct {
	Name        string     `json:"compressor"`
	Verdict     Verdict    `json:"verdict"`
	Reasons     []string   `json:"reasons"`
	Running     float64    `json:"running_s"`
	Known       float64    `json:"superheat_known_s"`
	Suspect     float64    `json:"superheat_suspect_s"`
	Lowest      *float64   `json:"lowest_superheat_k"`
	LowestAt    *time.Time `json:"lowest_at"`
	LowestPhase string     `json:"lowest_phase,omitempty"`
	Uncertainty *float64   `json:"expanded_uncertainty_k"` // at the lowest
	LowestFloor *float64   `json:"floor_at_lowest_k"`      // that held at the lowest
	Margin      *float64   `json:"lowest_margin_k"`        // each row against the floor that held in it
	Below       float64    `json:"below_floor_s"`
	Dose        float64    `json:"below_floor_kelvin_seconds"`
	Longest     float64    `json:"longest_below_floor_s"`
	Steady      float64    `json:"steady_s"` // steady running judged with this cycle
	Checks      []Check    `json:"checks"`
}

// Likely is a circuit or a cause with its score, 0 to 1.
type Likely struct {
	Name  string   `json:"name"`
	Score float64  `json:"score"`
	Why   []string `json:"why"`
}
