package web

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// pressed is the script that clicks the button with these words.
func pressed(words string) string {
	return `(() => { const b = [...document.querySelectorAll("button")].find((b) => b.textContent === ` + asJSON(words) + ` && b.offsetParent); if (!b) return false; b.click(); return true; })()`
}

func filled(field, value string) string {
	return `(() => { const i = document.querySelector('[data-field="` + field + `"]').querySelector("input, select, textarea"); i.value = ` + asJSON(value) + `; return i.value === ` + asJSON(value) + `; })()`
}

// From the event to acknowledged in two taps on a phone once the name is known;
// what was found stands beside what was said.
func TestPeopleInABrowser(t *testing.T) {
	ctx := browser(t)
	s := snaptest.EveryState()
	s.Circuits = []analyze.CircuitState{{Group: "mt", Name: "case-1"}, {Group: "mt", Name: "case-2"}}
	s.Open = s.Open[1:] // one event alone, so that each word on a button stands there once
	board := boardOf(s)
	d := &deskBook{event: s.Open[0], board: board, shown: s}
	server := httptest.NewServer(New(Parts{Board: board, Events: fixedEvents{}, Metrics: http.NotFoundHandler(), Log: quiet(), Operations: d, Loopback: true}).Handler())
	t.Cleanup(server.Close)
	does(t, ctx, chromedp.EmulateViewport(360, 740, chromedp.EmulateMobile), chromedp.Navigate(server.URL))

	wanted(t, ctx, "the button", pressed("Acknowledge"))
	wanted(t, ctx, "the form", `document.getElementById("act").open && `+text+`.includes("Others see that you are on it")`)
	wanted(t, ctx, "nothing wider than a phone", `document.documentElement.scrollWidth <= 360 && document.getElementById("act").getBoundingClientRect().right <= 360`)
	wanted(t, ctx, "no name, refused", `document.getElementById("actdo").click() === undefined && document.getElementById("acterror").textContent.includes("Write your name")`)
	wanted(t, ctx, "a name", filled("by", "anna"))
	wanted(t, ctx, "a note", filled("note", "on my way"))
	wanted(t, ctx, "a poll that leaves the note alone", `(window.since ??= Date.now()) < Date.now() - 1500 && document.querySelector('[data-field="note"] textarea').value === "on my way"`)
	does(t, ctx, chromedp.Click(chromedp.CSS("#actdo")))
	wanted(t, ctx, "acknowledged", `!document.getElementById("act").open && `+text+`.includes("✓ Acknowledged by anna") && `+text+`.includes("on my way")`)

	wanted(t, ctx, "the button to take it back", pressed("Take back"))
	wanted(t, ctx, "the name is remembered", `document.querySelector('[data-field="by"] input').value === "anna"`)
	does(t, ctx, chromedp.Click(chromedp.CSS("#actdo")))
	wanted(t, ctx, "taken back", `!`+text+`.includes("✓ Acknowledged")`)

	wanted(t, ctx, "the button for what was found", pressed("What was found?"))
	wanted(t, ctx, "no cause, refused", `document.getElementById("actdo").click() === undefined && document.getElementById("acterror").textContent.includes("Choose what")`)
	wanted(t, ctx, "a cause", filled("cause", "low_airflow"))
	wanted(t, ctx, "a circuit", filled("circuit", "case-2"))
	does(t, ctx, chromedp.Click(chromedp.CSS("#actdo")))
	wanted(t, ctx, "side by side", `((c) => c && c.innerText.includes("Found on site") && c.innerText.includes("circuit case-2") && c.innerText.includes("circuit case-1, 83 %"))(document.querySelector(".compare"))`)

	wanted(t, ctx, "the button for maintenance", pressed("Maintenance…"))
	wanted(t, ctx, "a compressor", filled("compressor", "c3"))
	wanted(t, ctx, "a note", filled("note", "oil"))
	does(t, ctx, chromedp.Click(chromedp.CSS("#actdo")))
	wanted(t, ctx, "the form closed", `!document.getElementById("act").open`)

	d.err = &alert.RefusedError{Reason: "it has ended", Conflict: true}
	wanted(t, ctx, "the button", pressed("Acknowledge"))
	does(t, ctx, chromedp.Click(chromedp.CSS("#actdo")))
	wanted(t, ctx, "why not", `document.getElementById("acterror").textContent === "✕ it has ended" && document.getElementById("act").open`)

	want := []string{
		"acknowledge " + d.event.ID + " by anna note on my way", "unacknowledge " + d.event.ID + " by anna", "found " + d.event.ID + " low_airflow case-2 by anna note ",
		"maintenance mt c3 until 2026-03-01T16:00:00Z by anna note oil", "acknowledge " + d.event.ID + " by anna note ",
	}
	if got := d.list(); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("asked for\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Where nothing can be changed there is no button for it.
func TestNoButtonsWhereNothingIsChanged(t *testing.T) {
	ctx := browser(t)
	does(t, ctx, chromedp.Navigate(pageOf(t, snaptest.EveryState(), nil).URL))
	wanted(t, ctx, "the page without buttons", text+`.includes("● live") && ![...document.querySelectorAll("main button")].length`)
}
