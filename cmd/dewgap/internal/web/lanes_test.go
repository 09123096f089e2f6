package web

import (
	"errors"
	"testing"

	"github.com/chromedp/chromedp"
)

// The first page shows the last twelve hours at a glance: a lane for the machine
// with its superheat over its floor, a strip for the circuit; what a screen reader
// hears says the same. Without a history there is no such section.
func TestLanesInABrowser(t *testing.T) {
	ctx := browser(t)
	server := pastPage(t, pastOf{})
	does(t, ctx, chromedp.Navigate(server.URL+"/"))
	wanted(t, ctx, "a lane and a strip", `document.querySelectorAll(".lane.c").length === 1 && document.querySelectorAll(".lane.k").length === 1 && !document.getElementById("lanesection").hidden`)
	// 144 steps of 5 min, of which three are not known; all above their floor of 3 to 8 K.
	wanted(t, ctx, "superheat and floor of each step", `document.querySelectorAll(".lane.c .lane-dry").length === 141 && document.querySelectorAll(".lane.c .lane-floor").length === 141 && !document.querySelector(".lane-wet.lane-wet:not(i)")`)
	wanted(t, ctx, "lowest superheat in words", text+`.includes("lowest 10.0 K at ") && `+text+`.includes("never below its floor")`)
	wanted(t, ctx, "its defrosts, in words and as shades", `/c1: lowest .* defrost \d\d:\d\d to \d\d:\d\d/.test(document.querySelector(".lane.c svg").getAttribute("aria-label")) && document.querySelectorAll(".lane.c .lane-thaw").length === 12`)
	wanted(t, ctx, "the circuit's", `document.querySelectorAll(".lane.k .lane-thaw").length === 12 && `+text+`.includes("12 defrosts")`)
	does(t, ctx, chromedp.Click(chromedp.CSS("#units")))
	wanted(t, ctx, "US units", text+`.includes("lowest 18.0 °F at ")`)
	does(t, ctx, chromedp.EmulateViewport(360, 740, chromedp.EmulateMobile))
	wanted(t, ctx, "nothing wider than a phone", `document.documentElement.scrollWidth <= 360`)

	does(t, ctx, chromedp.Navigate(pastPage(t, pastOf{fail: errors.New("gone")}).URL+"/"))
	wanted(t, ctx, "no lanes without a history", `document.querySelectorAll(".plate").length > 3 && document.getElementById("lanesection").hidden`)
}
