package fleet

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/golang/snappy"

	"dewgap/collector"
	"dewgap/simulators/devices"
)

// mostSeries is what a site of five compressors may have at the centre, so that a
// thousand of them stay within 350,000.
const mostSeries = 350

// localMetric is for whoever is at the site: a centre does not keep it (fleet.md of
// config/monitoring).
const localMetric = "dewgap_input_age_seconds"

// extras are the targets of a site: a receiver of metrics and a broker; either may be
// empty.
func extras(receiver, broker string) func(name string) string {
	return func(name string) string {
		text := ""
		if receiver != "" {
			text += fmt.Sprintf("\n[[remote_write]]\nname = \"central\"\nurl = %q\nevery = \"15 s\"\n", receiver)
		}
		if broker != "" {
			text += fmt.Sprintf("\n[[notify]]\nname = \"events\"\nkind = \"mqtt\"\nurl = %q\nprefix = %q\nclient_id = %q\nseverity = \"risk\"\n", broker, prefixOf(name), name)
		}
		return text
	}
}

var ourSeries = regexp.MustCompile(`(?m)^dewgap_[a-z_]+\{.*$`)

// scrape reads the series of a site that a centre keeps.
func (s *site) scrape(t testing.TB) []string {
	t.Helper()
	answer, err := http.Get(s.page + "metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("%d, %v", answer.StatusCode, err)
	}
	return slices.DeleteFunc(ourSeries.FindAllString(string(text), -1), func(one string) bool { return strings.HasPrefix(one, localMetric+"{") })
}

// A few sites, of which two share a plant, reach a receiver of metrics and a broker:
// each has its own series, few enough, and floodbacks are told.
func TestSmallFleet(t *testing.T) {
	var mu sync.Mutex
	received := map[string]bool{}
	var sites []*site
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			return // it was closed
		}
		raw, err := snappy.Decode(nil, body)
		if err != nil {
			t.Error(err)
		}
		mu.Lock()
		defer mu.Unlock()
		for i := range 3 {
			if name := fmt.Sprintf("store-%04d", i+1); bytes.Contains(raw, []byte(name)) {
				received[name] = true
			}
		}
		w.WriteHeader(http.StatusNoContent)
	}))
	defer receiver.Close()
	broker, err := devices.StartMQTTBroker("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer broker.Stop()
	url := "tcp://" + broker.Address()
	central := subscribe(t, url)
	begun := time.Now().Add(-24 * time.Hour)
	sites = open(t, setting{sites: 3, plants: 2, wet: 2, sample: 5 * time.Second, clock: collector.NewScaledClock(begun, 300), dir: t.TempDir(),
		extra: extras(receiver.URL, url)})
	stop := run(t, sites)
	deadline := time.After(90 * time.Second)
	look := time.NewTicker(200 * time.Millisecond)
	defer look.Stop()
	// Two of the three flood. A broker is told of the same cause once a minute, so that
	// the ends are for the large run.
	told := func(s *site) (floodbacks int) {
		events := s.journalled(t)
		missing := strings.Join(central.missing(s.name, events), "; ")
		for _, ev := range events {
			if ev.Kind == "floodback" && !strings.Contains(missing, ev.ID+": its begin") {
				floodbacks++
			}
		}
		return floodbacks
	}
	done := func() bool {
		mu.Lock()
		defer mu.Unlock()
		return len(received) == len(sites) && told(sites[0]) > 0 && told(sites[2]) > 0
	}
	for !done() {
		select {
		case <-look.C:
		case <-deadline:
			for _, s := range sites {
				t.Log(s.name, central.missing(s.name, s.journalled(t)), len(s.journalled(t)))
			}
			t.Fatalf("not all has arrived: metrics of %v", received)
		}
	}
	for _, s := range sites {
		series := s.scrape(t)
		if n := len(series); n < 200 || n > mostSeries {
			t.Errorf("%s has %d series, want at most %d", s.name, n, mostSeries)
		}
		for _, one := range series {
			if !strings.Contains(one, `site="`+s.name+`"`) {
				t.Errorf("%s shows %s", s.name, one)
			}
		}
	}
	stop()
	// What a subscriber was never told of is found.
	if got := central.missing("store-9999", sites[0].journalled(t)); len(got) == 0 {
		t.Error("a site that never told anything misses nothing")
	}
}
