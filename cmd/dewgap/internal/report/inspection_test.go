package report

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/commissioning"
	"dewgap/cmd/dewgap/internal/inspection"
)

// opened is an invented report: one floodback with a trace that somebody looked
// into, one that was withdrawn, and a month with oil.
func opened(system units.System) *inspection.Report {
	cycle := drawn(system).Cycles[0]
	began := cycle.Times[40]
	ended := began.Add(10 * time.Minute)
	flood := alert.Event{
		ID: "mt.c1-floodback-1", Kind: "floodback", Severity: "minor", Group: "mt", Compressor: "c1", Phase: "pulldown", Began: began, Opened: began, Closed: &ended,
		FloorK: ptr(8.0), MinSuperheatK: ptr(-0.4), MinMarginK: ptr(-8.4), SecondsBelow: 600, KelvinSecondsBelow: 3600,
		Circuits: []alert.Score{{Name: "case-1", Score: .9}}, Causes: []alert.Cause{{Cause: "valve_oversized", Score: .6}},
		Found:        &alert.Found{Cause: "iced_coil", Circuit: "case-1", By: "an engineer", At: ended, Note: "<ice>"},
		Acknowledged: &alert.Acknowledgement{By: "anna", At: began},
	}
	withdrawn := flood
	withdrawn.ID, withdrawn.Found, withdrawn.Acknowledged = "mt.c1-floodback-2", nil, nil
	withdrawn.Withdrawn = &evidence.Item{Code: evidence.Sentence, Text: "the sensor hung loose"}
	part := inspection.Part{Events: 1, Seconds: 600, KelvinSeconds: 3600}
	return &inspection.Report{
		Format: inspection.Format, Dewgap: "test", Site: `</title><script>alert("x")</script>`, Group: "mt", Compressor: "c1", Kind: "scroll", Refrigerant: "R513A",
		Ledger: &alert.Totals{Since: began, RunningSeconds: 7200, Starts: 3, FloodbackSeconds: 1200, FloodbackWithdrawnSeconds: 600, FloodbackKelvinSeconds: 7200, FloodbackWithdrawnKelvinSeconds: 3600}, LedgerAt: &ended,
		Exposure: part, BySeverity: []inspection.Part{part}, ByPhase: []inspection.Part{part},
		Months:     []inspection.Month{{Part: part, Work: &inspection.Work{RunningSeconds: 7200, SumpSeconds: 7200, SumpNearSeconds: 60, LowestSumpOverDewK: ptr(8.5)}}},
		Floodbacks: []alert.Event{flood}, Withdrawn: []alert.Event{withdrawn}, Longest: []string{flood.ID}, Worst: []string{flood.ID},
		Signs: []inspection.Sign{{Finding: "Floodback", Recorded: "1 floodback", Inside: []string{"Upper bearing dry"}}}, CannotShow: []string{"what no input shows"},
		Config: commissioning.File{Name: "site.toml", SHA256: strings.Repeat("0", 64)}, View: commissioning.View{System: system},
		Traces: map[string]inspection.Trace{flood.ID: {Times: cycle.Times, Trace: cycle.Traces[0]}},
	}
}

func TestInspectionFormsAgree(t *testing.T) {
	// 3600 K·s are 60 K·min, 108 °F·min; 8.5 K are 15.3 °F.
	for system, figures := range map[units.System][]string{units.SI: {"−0.4 K", "60.0 K·min", "8.5 K"}, units.US: {"−0.7 °F", "108.0 °F·min", "15.3 °F"}} {
		r, render := opened(system), evidence.Renderer{System: system}
		var html, text, js bytes.Buffer
		for _, err := range []error{InspectionHTML(&html, r, render, "a4"), InspectionText(&text, r, render), InspectionJSON(&js, r, render)} {
			if err != nil {
				t.Fatal(err)
			}
		}
		for name, form := range map[string]string{"HTML": html.String(), "text": text.String()} {
			for _, want := range append([]string{
				"10 min", "Upper bearing dry", "what no input shows", "the sensor hung loose", "anna", "no verdict", "lock out and tag", "recovered, never vented", "Local codes", "2 h 00 min with 3 starts",
				"expansion valve too large", "iced coil", strings.Repeat("0", 64),
			}, figures...) {
				if !strings.Contains(form, want) {
					t.Errorf("%s in %s lacks %q", name, system, want)
				}
			}
			for _, never := range []string{"NaN", "<nil>", "no value", "%!", "<script", "src=", "href=", "is safe"} {
				if strings.Contains(form, never) && (name == "HTML" || never != "<script") {
					t.Errorf("%s holds %q", name, never)
				}
			}
		}
		if n := strings.Count(html.String(), "<figure>"); n != 1 {
			t.Errorf("%d plots of one floodback that is both longest and worst", n)
		}
		if !strings.Contains(html.String(), "size: A4") || !strings.Contains(html.String(), "&lt;ice&gt;") {
			t.Error("HTML has no paper size, or takes a note for markup")
		}
		for i, form := range plotsOf(t, html.String()) {
			wellFormed(t, i, form)
		}
		var back inspection.Report
		if err := json.Unmarshal(js.Bytes(), &back); err != nil || *back.Floodbacks[0].MinSuperheatK != -0.4 || back.Exposure != r.Exposure || back.Ledger.RunningSeconds != 7200 {
			t.Errorf("JSON is not in SI: %v", err)
		}
	}
}

func plotsOf(t *testing.T, html string) []string {
	t.Helper()
	var plots []string
	for rest := html; ; {
		_, after, ok := strings.Cut(rest, `<svg viewBox`)
		if !ok {
			return plots
		}
		plot, tail, _ := strings.Cut(after, "</svg>")
		plots, rest = append(plots, "<svg viewBox"+plot+"</svg>"), tail
	}
}

func wellFormed(t *testing.T, i int, plot string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(plot))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("plot %d: %v", i, err)
		}
	}
}
