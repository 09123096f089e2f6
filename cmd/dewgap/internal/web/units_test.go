package web

import (
	"encoding/json"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/trend"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/explain"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// withCodes is a snapshot whose open floodback holds evidence of each quantity
// that alert builds, and a reason.
func withCodes() *snapshot.Snapshot {
	s := snaptest.EveryState()
	ev := &s.Open[1]
	ev.Evidence = []evidence.Item{
		evidence.New(evidence.SuperheatBelowFloor, evidence.Difference("min_superheat", 0.6), evidence.Difference("below", 7.4), evidence.Difference("floor", 8), evidence.Name("phase", "pulldown")),
		evidence.New("of_a_newer_version", evidence.Temperature("dew", -10), evidence.Pressure("suction", 221000), evidence.Difference("rise", 2)),
	}
	why := []evidence.Item{evidence.New("reason_of_a_newer_version", evidence.Temperature("coil", 4))}
	ev.Circuits[0].Why, ev.Causes[0].Why = why, why
	return s
}

func texts(items []evidence.Item) (out []string) {
	for _, i := range items {
		out = append(out, i.Text)
	}
	return out
}

// TestPageAndExplanationShowTheSameText asks for the page's state and for the
// explanation of the same event in each system of units, and for the event
// itself.
func TestPageAndExplanationShowTheSameText(t *testing.T) {
	s := withCodes()
	ev := s.Open[1]
	h := handlerOf(boardOf(s), fixedEvents{ev})
	wants := map[string][]string{
		"si": {"0.6 K", "7.4 K", "dew_c -10.0 °C", "rise_k 2.0 K", "coil_c 4.0 °C", "15.2 K·min"},
		"us": {"1.1 °F", "13.3 °F", "dew_c 14.0 °F", "rise_k 3.6 °F", "coil_c 39.2 °F", "27.3 °F·min"},
	}
	for system, want := range wants {
		_, body, _ := get(t, h, "/api/v1/state?units="+system)
		var page siteState
		if err := json.Unmarshal([]byte(body), &page); err != nil {
			t.Fatal(err)
		}
		if page.TextUnits != system || page.Units != "si" {
			t.Errorf("asked for %s: text in %q, site in %q", system, page.TextUnits, page.Units)
		}
		shown := page.OpenEvents[slices.IndexFunc(page.OpenEvents, func(e eventState) bool { return e.ID == ev.ID })]

		_, body, _ = get(t, h, "/api/v1/events/"+url.PathEscape(ev.ID)+"/explain?units="+system)
		var explained explain.Explanation
		if err := json.Unmarshal([]byte(body), &explained); err != nil {
			t.Fatal(err)
		}
		_, body, _ = get(t, h, "/api/v1/events?units="+system)
		var line alert.Event
		if err := json.Unmarshal([]byte(body), &line); err != nil {
			t.Fatal(err)
		}
		for _, d := range []string{
			cmp.Diff(texts(shown.Evidence), explained.Evidence), cmp.Diff(texts(shown.Circuits[0].Why), explained.Circuits[0].Why),
			cmp.Diff(texts(shown.Causes[0].Why), explained.Causes[0].Why), cmp.Diff(shown.Facts, explained.Facts),
			cmp.Diff(shown.Event, line),
		} {
			if d != "" {
				t.Errorf("%s: %s", system, d)
			}
		}
		all, _ := json.Marshal(shown)
		for _, w := range want {
			if !strings.Contains(string(all), w) {
				t.Errorf("%s: lacks %q: %s", system, w, all)
			}
		}
	}
}

// TestUnitsOfWhatIsNotAnEvent: notices and warnings come in the reader's units
// too, and the site's hold where nobody asks.
func TestUnitsOfWhatIsNotAnEvent(t *testing.T) {
	s := withCodes()
	s.Units = "us"
	s.Notices = []trend.Notice{{Group: "mt", Circuit: "case-1", Found: evidence.New("of_a_newer_version", evidence.Temperature("outlet", 10))}}
	h := handlerOf(boardOf(s), fixedEvents{s.Open[1]})
	for path, want := range map[string]string{
		"/api/v1/state":           "outlet_c 50.0 °F",
		"/api/v1/state?units=si":  "outlet_c 10.0 °C",
		"/api/v1/events":          "dew_c 14.0 °F",
		"/api/v1/events?units=si": "dew_c -10.0 °C",
	} {
		if _, body, _ := get(t, h, path); !strings.Contains(body, want) {
			t.Errorf("%s lacks %q: %s", path, want, body)
		}
	}
	for _, path := range []string{"/api/v1/state?units=metric", "/api/v1/events?units=metric"} {
		if code, body, _ := get(t, h, path); code != 400 || !strings.Contains(body, "si or us") {
			t.Errorf("%s: %d %s", path, code, body)
		}
	}
	if got := s.Renderer(); got.System != units.US {
		t.Errorf("renderer %+v", got)
	}
}

// TestScriptParsesNoSentence: the script holds no regular expression at all.
func TestScriptParsesNoSentence(t *testing.T) {
	for _, pattern := range []string{`\.(replace|replaceAll|match|matchAll|split|search)\(\s*/`, `/\.(test|exec)\(`, `RegExp`, `parseFloat`} {
		if found := regexp.MustCompile(pattern).FindString(pageJS); found != "" {
			t.Errorf("the script holds %q", found)
		}
	}
}
