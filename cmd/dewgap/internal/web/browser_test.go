package web

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"dewgap/analyze"
	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// patience bounds each wait for the browser; a wait ends as soon as the page
// is as wanted.
const patience = 90 * time.Second

// browser opens Chromium, where real peers are asked for; there a missing one
// is a failure.
func browser(t *testing.T) context.Context {
	t.Helper()
	if os.Getenv("DEWGAP_PEERS") != "1" {
		t.Skip("DEWGAP_PEERS=1 tests the page in Chromium")
	}
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("DEWGAP_PEERS=1 and no chromium:", err)
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.WSURLReadTimeout(patience))
	allocator, release := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancel := chromedp.NewContext(allocator)
	t.Cleanup(func() {
		_ = chromedp.Cancel(ctx) // a browser that is gone already has ended
		cancel()
		release()
	})
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal("start chromium:", err)
	}
	limited, stop := context.WithTimeout(ctx, 4*patience)
	t.Cleanup(stop)
	return limited
}

// wanted waits until an expression of JavaScript is true.
func wanted(t *testing.T, ctx context.Context, what, expression string) {
	t.Helper()
	_, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingInterval(50*time.Millisecond), chromedp.WithPollingTimeout(patience)))
	if err != nil {
		said, _ := chromedp.Run(ctx, chromedp.Evaluate[string](text)) // only to help
		t.Fatalf("%s: %v; the page says\n%s", what, err, said)
	}
}

func does(t *testing.T, ctx context.Context, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

func pageOf(t *testing.T, s *snapshot.Snapshot, replay Replay) *httptest.Server {
	t.Helper()
	server := httptest.NewServer(New(Parts{Board: boardOf(s), Events: fixedEvents{}, Metrics: http.NotFoundHandler(), Version: "test", Log: quiet(), Replay: replay}).Handler())
	t.Cleanup(server.Close)
	return server
}

const text = `document.body.innerText`

func TestPageInABrowser(t *testing.T) {
	ctx := browser(t)
	server := pageOf(t, snaptest.EveryState(), nil)
	does(t, ctx, chromedp.Navigate(server.URL))
	wanted(t, ctx, "superheat in kelvin", text+`.includes("14.2 K") && `+text+`.includes("± 2.1 K")`)
	for _, said := range []string{"above floor", "near floor", "floodback, minor", "off", "no superheat", "cases", "✕ down", "Check next"} {
		wanted(t, ctx, said, text+`.includes("`+said+`")`)
	}
	does(t, ctx, chromedp.Click(chromedp.CSS("details.todo summary")))
	for _, check := range []string{evidence.Renderer{}.Text(cause.Checks("valve_oversized")[2].Do), evidence.Renderer{}.Text(cause.Checks("load_change_after_defrost")[2].Do), cause.Cautions} {
		wanted(t, ctx, "what to check", text+`.includes(`+asJSON(check)+`)`)
	}
	wanted(t, ctx, "no replay bar on a live page", `document.getElementById("replay").hidden && `+text+`.includes("● live")`)

	does(t, ctx, chromedp.Click(chromedp.CSS("#units")))
	wanted(t, ctx, "US units, by the button", text+`.includes("25.6 °F") && !`+text+`.includes("14.2 K")`)
	does(t, ctx, chromedp.Click(chromedp.CSS("#units")))

	ground := `getComputedStyle(document.body).backgroundColor.match(/\d+/g).slice(0, 3).reduce((a, b) => a + Number(b), 0)`
	dark := func(scheme string) chromedp.Action[chromedp.Void] {
		return chromedp.Func(func(ctx context.Context, page *chromedp.Target) error {
			_, err := cdp.Call(ctx, page, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
				Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
			return err
		})
	}
	does(t, ctx, dark("dark"))
	wanted(t, ctx, "dark by the system's setting", ground+" < 150")
	does(t, ctx, dark("light"))
	wanted(t, ctx, "light by the system's setting", ground+" > 600")

	does(t, ctx, chromedp.EmulateViewport(360, 740, chromedp.EmulateMobile))
	wanted(t, ctx, "nothing wider than a phone", `document.documentElement.scrollWidth <= 360`)

	server.CloseClientConnections()
	server.Close()
	wanted(t, ctx, "the loss of the connection", text+`.includes("connection to the daemon lost") && `+text+`.includes("not the present") && document.body.classList.contains("old-data")`)
}

// On the wall only what is wrong and the figures are left, large; a circuit says
// what it does.
func TestLargeInABrowser(t *testing.T) {
	ctx := browser(t)
	s := snaptest.EveryState()
	s.Circuits = []analyze.CircuitState{{Group: s.States[0].Group, Name: "cellar", Stage: frame.Defrosting}}
	server := pageOf(t, s, nil)
	size := `parseFloat(getComputedStyle(document.querySelector(".big b")).fontSize)`
	does(t, ctx, chromedp.Navigate(server.URL))
	wanted(t, ctx, "everything, and the circuit", text+`.includes("Margin over floor") && `+text+`.includes("cellar") && `+text+`.includes("in defrost") && `+size+` < 50 && document.getElementById("size").getAttribute("href") === "/?large"`)
	does(t, ctx, chromedp.Navigate(server.URL+"/?large"))
	wanted(t, ctx, "what is wrong, large", text+`.includes("floodback, minor") && `+text+`.includes("14.2 K") && `+text+`.includes("in defrost") && !`+text+`.includes("Margin over floor") && `+size+` > 80 && document.getElementById("size").getAttribute("href") === "/"`)
}

// A word of the trade is explained where it stands, by tap or key as by mouse, and
// stays so while the figures around it are drawn anew.
func TestWordsAreExplainedInABrowser(t *testing.T) {
	ctx := browser(t)
	does(t, ctx, chromedp.Navigate(pageOf(t, snaptest.EveryState(), nil).URL))
	wanted(t, ctx, "the words", `document.querySelectorAll("#machines .term").length > 10`)
	does(t, ctx, chromedp.Click(chromedp.CSS("#machines dt .term")))
	says := `getComputedStyle(document.activeElement, "::after").content.includes("site allows") && document.activeElement.textContent === "Floor"`
	wanted(t, ctx, "what a floor is", says)
	wanted(t, ctx, "all drawn anew", `(drawn.clear(), draw(), true)`)
	wanted(t, ctx, "what a floor is, still", says)
}

func TestUSSiteInABrowser(t *testing.T) {
	ctx := browser(t)
	s := snaptest.EveryState()
	s.Units = "us"
	does(t, ctx, chromedp.Navigate(pageOf(t, s, nil).URL))
	wanted(t, ctx, "the site's units", text+`.includes("25.6 °F") && `+text+`.includes("psig")`)
}

// What a field device calls itself is text on the page, and runs nothing.
func TestTrap27NastyNameInABrowser(t *testing.T) {
	ctx := browser(t)
	s := snaptest.EveryState()
	s.Site, s.States[0].Name = nasty, nasty
	does(t, ctx, chromedp.Navigate(pageOf(t, s, nil).URL))
	wanted(t, ctx, "the name as text", text+`.includes("onerror=") && document.images.length === 0`)
}

func TestReplayInABrowser(t *testing.T) {
	ctx := browser(t)
	s := snaptest.EveryState()
	s.Mode, s.Replay = "replay", &snapshot.Replay{Recording: "night.csv.gz", From: snaptest.Noon.Add(-time.Hour), To: snaptest.Noon.Add(time.Hour), Speed: 30, Rows: 3600}
	d := &driven{}
	does(t, ctx, chromedp.Navigate(pageOf(t, s, d).URL))
	wanted(t, ctx, "that it is a replay", text+`.includes("Replay, not the present.") && `+text+`.includes("night.csv.gz") && `+text+`.includes("playing 30 times as fast") && !`+text+`.includes("● live")`)
	wanted(t, ctx, "the title", `document.title.startsWith("▶ replay")`)
	does(t, ctx, chromedp.EmulateViewport(360, 740, chromedp.EmulateMobile))
	wanted(t, ctx, "nothing wider than a phone", `document.documentElement.scrollWidth <= 360`)
	wanted(t, ctx, "the place", `document.getElementById("tapeplace").value === 0.5`)
	does(t, ctx, chromedp.Click(chromedp.CSS(`[data-do="next_event"]`)))
	wanted(t, ctx, "the answer", text+`.includes("night.csv.gz")`)
	for range 200 { // the click's request is on its way
		if got := d.list(); len(got) > 0 {
			if strings.Join(got, " ") != "next_event" {
				t.Errorf("asked for %q", got)
			}
			return
		}
		wanted(t, ctx, "a moment", `true`)
	}
	t.Error("the button asked for nothing")
}
