package report

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/cause"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/commissioning"
)

func ptr[T any](v T) *T { return &v }

// drawn is an invented record: one failed cycle of one compressor that was
// below its floor, with a gap in what is known, and one that is not known.
func drawn(system units.System) *commissioning.Record {
	began := time.Date(2026, 5, 4, 2, 0, 0, 0, time.UTC)
	nan := float32(math.NaN())
	tr := commissioning.Trace{Compressor: "c1"}
	blind := commissioning.Trace{Compressor: "c2"}
	c := commissioning.Cycle{
		Group: "mt", Circuit: "case-1", Defrost: "electric", Number: 1, Verdict: commissioning.Fail, Reasons: []string{"c1: below the floor"}, Together: []string{"case-2"},
		Stages: commissioning.Stages{Began: ptr(began), HeatEnded: ptr(began.Add(20 * time.Minute)), Resumed: ptr(began.Add(23 * time.Minute)),
			PlateauBegan: ptr(began.Add(5 * time.Minute)), PlateauEnded: ptr(began.Add(10 * time.Minute)), Plateau: ptr(300.0), PlateauAt: ptr(0.2), Termination: "temperature", Pulldown: ptr(900.0)},
		Checks: []commissioning.Check{{Criterion: "termination", Outcome: commissioning.Remark, Text: "ended by time"}},
		Compressors: []commissioning.Machine{
			{Name: "c1", Verdict: commissioning.Fail, Running: 2400, Known: 2400, Lowest: ptr(-0.4), LowestAt: ptr(began.Add(25 * time.Minute)), LowestPhase: "pulldown", LowestFloor: ptr(8.0), Uncertainty: ptr(2.1), Margin: ptr(-8.4), Below: 600,
				Checks: []commissioning.Check{{Criterion: "floor", Outcome: commissioning.NotMet, Measured: ptr(600.0), Limit: ptr(30.0), Unit: "s", Text: "below the floor for 10 min"}}},
			{Name: "c2", Verdict: commissioning.NotJudged, Running: 2400, Reasons: []string{"its superheat was not known"}},
		},
		Liquid: []commissioning.Likely{{Name: "case-1", Score: .9}}, Causes: []commissioning.Likely{{Name: "valve_oversized", Score: .6, Why: []string{"dips"}}}, Next: []cause.CheckText{{Do: "Is the reading true?", Confirms: "moves", Clears: "stays", Caution: "cold"}},
		Found: []commissioning.OnSite{{Event: "mt.c1-floodback-1", Found: alert.Found{Cause: "iced_coil", Circuit: "case-1", By: "an engineer", At: began.Add(time.Hour), Note: "<ice>"}}},
	}
	for i := range 100 {
		c.Times = append(c.Times, began.Add(time.Duration(i)*30*time.Second))
		low := float32(14 - 15*math.Exp(-math.Pow(float64(i-50)/8, 2)))
		if i > 70 && i < 75 {
			low = nan
		}
		tr.Lowest, tr.Highest, tr.Uncertainty = append(tr.Lowest, low), append(tr.Highest, low+1), append(tr.Uncertainty, 2.1)
		tr.Floor, tr.Dew, tr.Pipe, tr.Phase = append(tr.Floor, 8), append(tr.Dew, -8), append(tr.Pipe, low-8), append(tr.Phase, frame.Pulldown)
		for _, x := range []*[]float32{&blind.Lowest, &blind.Highest, &blind.Uncertainty, &blind.Floor, &blind.Dew, &blind.Pipe, &c.Coil} {
			*x = append(*x, nan)
		}
		blind.Phase = append(blind.Phase, frame.Unknown)
	}
	c.Traces = []commissioning.Trace{tr, blind}
	return &commissioning.Record{
		Format: commissioning.Format, Dewgap: "test", Site: `</title><script>alert("x")</script>`, Verdict: commissioning.Fail, From: began, To: began.Add(time.Hour), Rows: 3600, View: commissioning.View{System: system},
		Config: commissioning.File{Name: "site.toml", SHA256: strings.Repeat("0", 64)}, Data: []commissioning.File{{Name: "day.csv", SHA256: strings.Repeat("1", 64)}},
		Groups:   []commissioning.Group{{Name: "mt", Refrigerant: "R513A", Steady: 11, Pulldown: 8, Equalised: commissioning.Check{Criterion: "equalised", Outcome: commissioning.NotRecorded, Text: "never stood"}}},
		Circuits: []commissioning.Circuit{{Group: "mt", Name: "case-1", Defrost: "electric", Verdict: commissioning.Fail, Cycles: 1, Needed: 3, Reasons: []string{"1 of its 1 cycles failed"}}},
		Cycles:   []commissioning.Cycle{c}, Criteria: []commissioning.Rule{{Criterion: "floor", Text: "The floor is held."}},
	}
}

func written(t *testing.T, r *commissioning.Record) (html, text, js string) {
	t.Helper()
	var h, x, j bytes.Buffer
	for _, err := range []error{HTML(&h, r, "a4"), Text(&x, r), JSON(&j, r)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	return h.String(), x.String(), j.String()
}

func TestAllFormsAgree(t *testing.T) {
	for system, lowest := range map[units.System]string{units.SI: "−0.4 K", units.US: "−0.7 °F"} {
		html, text, js := written(t, drawn(system))
		for name, form := range map[string]string{"HTML": html, "text": text} {
			for _, want := range []string{lowest, "case-1", "below the floor", "expansion valve too large", "Is the reading true?", "ignature", "lock out and tag", "no safety device", strings.Repeat("1", 64), "02:25:00"} {
				if !strings.Contains(form, want) {
					t.Errorf("%s in %s lacks %q", name, system, want)
				}
			}
			if want := map[string]string{"HTML": "&lt;ice&gt;", "text": "<ice>"}[name]; !strings.Contains(form, "iced coil, circuit case-1, by an engineer at 2026-05-04 03:00:00 UTC: "+want+" (mt.c1-floodback-1)") {
				t.Errorf("%s lacks what was found", name)
			}
			if strings.Contains(form, "NaN") || strings.Contains(form, "<nil>") || strings.Contains(form, "no value") || strings.Contains(form, "%!") {
				t.Errorf("%s shows what is not known as if it were", name)
			}
			// What superheat and phases alone cannot show must not be in it.
			for _, never := range []string{"is safe", "close the valve", "liquid percentage"} {
				if strings.Contains(form, never) {
					t.Errorf("%s holds %q", name, never)
				}
			}
		}
		var back commissioning.Record
		if err := json.Unmarshal([]byte(js), &back); err != nil || back.Cycles[0].Found[0] != drawn(system).Cycles[0].Found[0] || back.Cycles[0].Compressors[0].Lowest == nil || *back.Cycles[0].Compressors[0].Lowest != -0.4 {
			t.Errorf("JSON is not in SI: %v", err)
		}
		again, _, _ := written(t, drawn(system))
		if html != again {
			t.Error("the same record gave other bytes")
		}
	}
}

// Times are of the zone asked for, in plots as well.
func TestZone(t *testing.T) {
	r := drawn(units.SI)
	r.View.Zone = time.FixedZone("IST", 5*3600+1800)
	html, text, js := written(t, r)
	for _, want := range []string{"07:30:00", "2026-05-04, IST", "2026-05-04 07:30:00 IST"} {
		if !strings.Contains(html, want) {
			t.Errorf("HTML lacks %q", want)
		}
	}
	if !strings.Contains(text, "07:55:00") || strings.Contains(text, "02:25:00") || !strings.Contains(js, "2026-05-04T02:00:00Z") {
		t.Error("text is not in the zone, or JSON is not in UTC")
	}
}

// The file needs no other, runs nothing, and takes names as text.
func TestHTMLStandsAlone(t *testing.T) {
	html, _, _ := written(t, drawn(units.SI))
	for _, never := range []string{"<script", "src=", "href=", "http:", "https:", "@import", "<link"} {
		if strings.Contains(html, never) {
			t.Errorf("holds %q", never)
		}
	}
	for _, must := range []string{"&lt;script&gt;", "prefers-color-scheme: dark", "@media print", "size: A4", `lang="en"`, "viewport"} {
		if !strings.Contains(html, must) {
			t.Errorf("lacks %q", must)
		}
	}
}

func TestPlotsAreWhole(t *testing.T) {
	r := drawn(units.SI)
	for i := range r.Cycles[0].Traces {
		svg := string(words{commissioning.View{}}.cyclePlot(&r.Cycles[0], i))
		paths := 0
		for d := xml.NewDecoder(strings.NewReader(svg)); ; {
			token, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "path" {
				paths++
			}
		}
		if paths < 10 || strings.Contains(svg, "Inf") {
			t.Errorf("plot %d: %d paths", i, paths)
		}
	}
	known := string(words{commissioning.View{}}.cyclePlot(&r.Cycles[0], 0))
	// A gap lifts the pen: the curve of the superheat begins twice.
	_, curve, _ := strings.Cut(known, `class="superheat" d="`)
	curve, _, _ = strings.Cut(curve, `"`)
	if n := strings.Count(curve, "M"); n != 2 {
		t.Errorf("the curve begins %d times", n)
	}
}
