package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"dewgap/cmd/dewgap/internal/history"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// pastOf answers every question with steps of one compressor and one circuit.
type pastOf struct{ fail error }

func (p pastOf) Query(from, to time.Time, step time.Duration, group string) (*history.Answer, error) {
	if p.fail != nil {
		return nil, p.fail
	}
	from = from.Truncate(step)
	n := int((to.Sub(from) + step - 1) / step)
	a := &history.Answer{From: from, Step: step.Seconds(), Steps: n, Rows: make([]int, n)}
	of := func(s history.Series, base float64) history.SeriesColumns {
		c := history.SeriesColumns{Series: s}
		for i := range n {
			lowest, mean, highest := base-2, base+float64(i%7)/10, base+3
			c.Min, c.Mean, c.Max = append(c.Min, &lowest), append(c.Mean, &mean), append(c.Max, &highest)
			if i%50 == 9 { // unknown for a step
				c.Min[i], c.Mean[i], c.Max[i] = nil, nil, nil
			}
		}
		return c
	}
	a.Values = []history.SeriesColumns{
		of(history.Series{Group: "lt", Compressor: "c1", Value: "superheat", Unit: "K"}, 12),
		of(history.Series{Group: "lt", Compressor: "c1", Value: "floor", Unit: "K"}, 5),
		of(history.Series{Group: "lt", Compressor: "c1", Value: "suction_pressure", Unit: "Pa"}, 210e3),
		of(history.Series{Group: "lt", Circuit: "cases", Value: "coil_superheat", Unit: "K"}, 6),
		of(history.Series{Group: "lt", Circuit: "cases", Value: "air_over_dew", Unit: "K"}, 9),
	}
	track := func(t history.Track) history.TrackColumns {
		c := history.TrackColumns{Track: t, Seconds: [][]float64{make([]float64, n), make([]float64, n)}}
		for i := range n {
			c.Seconds[min(1, i%12/10)][i] = step.Seconds()
			a.Rows[i] = 1
		}
		return c
	}
	a.Tracks = []history.TrackColumns{
		track(history.Track{Group: "lt", Compressor: "c1", Kinds: []string{"steady", "defrost"}}),
		track(history.Track{Group: "lt", Circuit: "cases", Kinds: []string{"refrigerating", "defrosting"}}),
	}
	return a, nil
}

func pastPage(t *testing.T, h History) *httptest.Server {
	t.Helper()
	s := snaptest.EveryState()
	server := httptest.NewServer(New(Parts{Board: boardOf(s), Events: fixedEvents(s.Open), History: h, Metrics: http.NotFoundHandler(), Version: "test", Log: quiet()}).Handler())
	t.Cleanup(server.Close)
	return server
}

func TestHistoryAPI(t *testing.T) {
	for _, c := range []struct {
		name, query string
		past        History
		code        int
		want        string
	}{
		{"the last day", "", pastOf{}, 200, `"step_seconds":120,`},
		{"a span", "?from=2026-03-01T06:00:00Z&to=2026-03-01T08:00:00Z&step=15m", pastOf{}, 200, `"from":"2026-03-01T06:00:00Z","step_seconds":900,"steps":8,`},
		{"unknown is null", "?from=2026-03-01T06:00:00Z&to=2026-03-01T07:00:00Z", pastOf{}, 200, `,null,`},
		{"no time", "?from=yesterday", pastOf{}, 400, `parameter from: "yesterday" is not a time with zone`},
		{"no step", "?step=15", pastOf{}, 400, `parameter step: "15" is not a width of step`},
		{"other parameter", "?circuit=a", pastOf{}, 400, "there are from, to, step, group and units"},
		{"too much", "?from=2026-03-01T06:00:00Z&to=2026-03-21T06:00:00Z&step=1m", pastOf{}, 400, "3000 are the most in one answer"},
		{"backwards", "?from=2026-03-01T06:00:00Z&to=2026-02-01T06:00:00Z", pastOf{}, 400, "is not after from"},
		{"nothing kept", "", nil, 404, "daemon.record = true"},
		{"disk", "", pastOf{errors.New("input/output error")}, 500, "input/output error"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := http.Get(pastPage(t, c.past).URL + "/api/v1/history" + c.query)
			if err != nil {
				t.Fatal(err)
			}
			defer r.Body.Close()
			body, err := io.ReadAll(r.Body)
			if err != nil || r.StatusCode != c.code || !strings.Contains(string(body), c.want) {
				t.Errorf("%d, %v, %.300s\nwant %d, %s", r.StatusCode, err, body, c.code, c.want)
			}
		})
	}
}

func TestHistoryHasTheEventsOfItsSpan(t *testing.T) {
	s := snaptest.EveryState()
	e := s.Open[0]
	server := pastPage(t, pastOf{})
	for _, c := range []struct {
		from, to time.Time
		want     bool
	}{
		{e.Began.Add(-time.Hour), e.Began, false},
		{e.Began.Add(-time.Hour), e.Began.Add(time.Minute), true},
		{e.Began.Add(time.Hour), e.Began.Add(2 * time.Hour), true}, // still open
	} {
		r, err := http.Get(server.URL + "/api/v1/history?from=" + c.from.UTC().Format(time.RFC3339) + "&to=" + c.to.UTC().Format(time.RFC3339))
		if err != nil {
			t.Fatal(err)
		}
		var got struct{ Events []struct{ ID string } }
		err = json.NewDecoder(r.Body).Decode(&got)
		r.Body.Close()
		found := false
		for _, one := range got.Events {
			found = found || one.ID == e.ID
		}
		if err != nil || found != c.want {
			t.Errorf("%s to %s: %v, %v; want %v", c.from, c.to, found, err, c.want)
		}
	}
}

// fetch asks with the header as given and returns the answer with its raw body.
func fetch(t *testing.T, url string, header map[string]string) (*http.Response, []byte) {
	t.Helper()
	q, err := http.NewRequest(http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	for name, value := range header {
		q.Header.Set(name, value)
	}
	r, err := (&http.Transport{DisableCompression: true, DisableKeepAlives: true}).RoundTrip(q)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r, body
}

// firstPaint is the most bytes that a page may take on the wire.
const firstPaint = 100_000

func TestAnswersAreCompressedAndTagged(t *testing.T) {
	server := pastPage(t, pastOf{})
	for _, path := range []string{"/", "/history", "/api/v1/history?from=2026-03-01T06:00:00Z&to=2026-03-01T08:00:00Z"} {
		plainly, plain := fetch(t, server.URL+path, nil)
		if plainly.Header.Get("Content-Encoding") != "" || plainly.Header.Get("Vary") != "Accept-Encoding" {
			t.Errorf("%s: not asked for gzip: %v", path, plainly.Header)
		}
		r, packed := fetch(t, server.URL+path, map[string]string{"Accept-Encoding": "br, gzip;q=0.5"})
		if r.Header.Get("Content-Encoding") != "gzip" || 2*len(packed) > len(plain) || len(packed) > firstPaint {
			t.Errorf("%s: %d bytes of %d, %v", path, len(packed), len(plain), r.Header)
		}
		z, err := gzip.NewReader(bytes.NewReader(packed))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := io.ReadAll(z); err != nil || !bytes.Equal(got, plain) {
			t.Errorf("%s: the compressed answer is another one, %v", path, err)
		}
		if r, _ := fetch(t, server.URL+path, map[string]string{"Accept-Encoding": "gzip;q=0"}); r.Header.Get("Content-Encoding") != "" {
			t.Errorf("%s: gzip, which was refused", path)
		}
		r, rest := fetch(t, server.URL+path, map[string]string{"If-None-Match": `"other", ` + r.Header.Get("ETag")})
		if r.StatusCode != http.StatusNotModified || len(rest) != 0 {
			t.Errorf("%s: %d with %d bytes for what is known", path, r.StatusCode, len(rest))
		}
		if r, _ := fetch(t, server.URL+path, map[string]string{"If-None-Match": `W/"0123456789abcdef"`}); r.StatusCode != 200 {
			t.Errorf("%s: %d for another tag", path, r.StatusCode)
		}
	}
}

// run runs JavaScript that gives nothing.
func run(script string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("("+"() => { "+script+"; return true })()"))
		return err
	})
}

// again makes the actions until the page answers them: a plot that is drawn anew
// between two of them forgets the first.
func again(t *testing.T, ctx context.Context, actions []chromedp.Action[chromedp.Void], what, expression string) {
	t.Helper()
	for range 20 {
		does(t, ctx, actions...)
		if _, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingInterval(50*time.Millisecond), chromedp.WithPollingTimeout(2*time.Second))); err == nil {
			return
		}
	}
	said, _ := chromedp.Run(ctx, chromedp.Evaluate[string](text)) // only to help
	t.Fatalf("%s; the page says\n%s", what, said)
}

func TestHistoryInABrowser(t *testing.T) {
	ctx := browser(t)
	server := pastPage(t, pastOf{})
	does(t, ctx, chromedp.Navigate(server.URL+"/history"))
	wanted(t, ctx, "a plot for the compressor and one for the circuit", `document.querySelectorAll("canvas").length === 2 && `+text+`.includes("lt c1: superheat") && `+text+`.includes("lt cases: coil superheat")`)
	painted := `(() => { const c = document.querySelector("canvas"), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data; const s = new Set(); for (let i = 0; i < d.length; i += 4) s.add(d[i] << 16 | d[i+1] << 8 | d[i+2]); return s.size > 4; })()`
	wanted(t, ctx, "lines and shades", painted)
	mouse := func(kind string, x int) chromedp.Action[chromedp.Void] {
		return run(fmt.Sprintf(`(() => { const o = document.querySelector(".u-over"), r = o.getBoundingClientRect(); o.dispatchEvent(new MouseEvent(%q, {bubbles: true, button: 0, clientX: r.left + %d, clientY: r.top + 40, movementX: 5})); })()`, kind, x))
	}
	again(t, ctx, []chromedp.Action[chromedp.Void]{mouse("mouseenter", 100), mouse("mousemove", 100)}, "all values at the cursor", `/superheat 12\.\d \(10.0 to 15.0\) K · floor 5\.\d .* bar abs/.test(document.querySelector(".at").innerText)`)
	does(t, ctx, run(`document.getElementById("other").value = "2026-02-20T06:00"; document.getElementById("other").onchange()`))
	wanted(t, ctx, "another span laid over it", text+`.includes("Over it, in another colour: Feb 20, 2026")`)
	again(t, ctx, []chromedp.Action[chromedp.Void]{mouse("mouseenter", 120), mouse("mousemove", 120)}, "its value at the cursor", `document.querySelector(".at").innerText.includes("on the other span 12.")`)
	does(t, ctx, chromedp.Click(chromedp.CSS("#alone")))
	wanted(t, ctx, "alone again", `!`+text+`.includes("Over it, in")`)
	again(t, ctx, []chromedp.Action[chromedp.Void]{mouse("mousedown", 100), mouse("mousemove", 160), mouse("mouseup", 160)}, "closer by dragging", text+`.includes("a step is 1 min")`)
	does(t, ctx, chromedp.Click(chromedp.CSS("[data-hours='24']")))
	wanted(t, ctx, "a day again", text+`.includes("a step is 2 min")`)
	does(t, ctx, chromedp.Click(chromedp.CSS("summary")))
	wanted(t, ctx, "the same as a table", `document.querySelectorAll("tbody tr").length > 600 && `+text+`.includes("not known") && `+text+`.includes("10.0 / 12.")`)
	does(t, ctx, chromedp.Click(chromedp.CSS("[data-hours='1']")))
	wanted(t, ctx, "an hour", text+`.includes("a step is 1 min") && document.querySelector("[data-hours='1']").getAttribute("aria-pressed") === "true"`)
	does(t, ctx, chromedp.Click(chromedp.CSS("#units")))
	wanted(t, ctx, "US units", text+`.includes("°F · psi")`)
	does(t, ctx, chromedp.EmulateViewport(360, 740, chromedp.EmulateMobile))
	wanted(t, ctx, "nothing wider than a phone", `document.documentElement.scrollWidth <= 360`)
}

// Whatever is asked for, the answer is given or is a fault of whoever asks.
func FuzzQueries(f *testing.F) {
	for _, query := range []string{"", "from=2026-03-01&to=2026-03-02&step=5m", "from=2026-03-01T06:00:00Z&step=1ns", "since=x", "open=true&limit=0", "limit=99999999999999999999", "group=lt&compressor=c1", "a=%", ";"} {
		f.Add(query)
	}
	s := snaptest.EveryState()
	h := New(Parts{Board: boardOf(s), Events: fixedEvents(s.Open), History: pastOf{}, Log: quiet(), Metrics: http.NotFoundHandler()}).Handler()
	f.Fuzz(func(t *testing.T, query string) {
		for _, path := range []string{"/api/v1/history", "/api/v1/events", "/api/v1/state"} {
			r := httptest.NewRequest("GET", "http://127.0.0.1"+path, nil)
			r.URL.RawQuery = query
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if w.Code != 200 && (w.Code < 400 || w.Code > 499) {
				t.Errorf("%s?%s: %d %s", path, query, w.Code, w.Body)
			}
		}
	})
}
