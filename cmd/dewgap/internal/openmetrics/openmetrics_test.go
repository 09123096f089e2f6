package openmetrics

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"dewgap/cmd/dewgap/internal/metrics"
)

// The rules of OpenMetrics 1.0: a counter's family has no _total, families and
// series stand together, quotes, backslashes and line breaks are escaped, # EOF
// ends it.
func TestTextFollowsTheFormat(t *testing.T) {
	text, err := NewText(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer text.Close()
	starts := &metrics.Metric{Name: "dewgap_starts_total", Help: `Starts "seen".`, Labels: []string{"site", "compressor"}, Counter: true, Order: 2}
	air := &metrics.Metric{Name: "dewgap_air_celsius", Help: "Air.", Labels: []string{"site"}, Order: 1}
	airToo := &metrics.Metric{Name: "dewgap_air_celsius", Help: "Air.", Labels: []string{"site", "circuit"}, Order: 3}
	begin := time.Date(2026, 3, 1, 12, 0, 0, 250e6, time.UTC)
	for i := range 3 {
		at := begin.Add(time.Duration(i) * time.Second)
		for _, s := range []metrics.Sample{
			{Metric: starts, Labels: []string{"a\"b\\c\nd", "c1"}, Value: float64(i)},
			{Metric: airToo, Labels: []string{"s", "case"}, Value: -0.5},
			{Metric: air, Labels: []string{"s"}, Value: 2.5e-7},
		} {
			if err := text.Add(at, s); err != nil {
				t.Fatal(err)
			}
		}
	}
	var out bytes.Buffer
	if err := text.Write(&out); err != nil {
		t.Fatal(err)
	}
	want := `# TYPE dewgap_air_celsius gauge
# HELP dewgap_air_celsius Air.
dewgap_air_celsius{site="s"} 2.5e-07 1772366400.25
dewgap_air_celsius{site="s"} 2.5e-07 1772366401.25
dewgap_air_celsius{site="s"} 2.5e-07 1772366402.25
dewgap_air_celsius{site="s",circuit="case"} -0.5 1772366400.25
dewgap_air_celsius{site="s",circuit="case"} -0.5 1772366401.25
dewgap_air_celsius{site="s",circuit="case"} -0.5 1772366402.25
# TYPE dewgap_starts counter
# HELP dewgap_starts Starts \"seen\".
dewgap_starts_total{site="a\"b\\c\nd",compressor="c1"} 0 1772366400.25
dewgap_starts_total{site="a\"b\\c\nd",compressor="c1"} 1 1772366401.25
dewgap_starts_total{site="a\"b\\c\nd",compressor="c1"} 2 1772366402.25
# EOF
`
	if out.String() != want {
		t.Errorf("%s\nwant\n%s", out.String(), want)
	}
}

// Whatever the number of samples, each comes back once and in order.
func TestSpoolKeepsAll(t *testing.T) {
	air := &metrics.Metric{Name: "air", Labels: []string{"site"}}
	for _, n := range []int{1, chunkSize - 1, chunkSize, chunkSize + 1, 3*chunkSize + 7} {
		text, err := NewText(t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		var want strings.Builder
		want.WriteString("# TYPE air gauge\n# HELP air \n")
		for site := range 2 {
			for i := range n {
				fmt.Fprintf(&want, "air{site=\"%d\"} %d %d\n", site, i, 1000+i)
			}
		}
		want.WriteString("# EOF\n")
		for i := range n {
			for site := range 2 {
				if err := text.Add(time.Unix(int64(1000+i), 0), metrics.Sample{Metric: air, Labels: []string{fmt.Sprint(site)}, Value: float64(i)}); err != nil {
					t.Fatal(err)
				}
			}
		}
		var out bytes.Buffer
		if err := text.Write(&out); err != nil {
			t.Fatal(err)
		}
		if out.String() != want.String() {
			t.Errorf("%d samples come back otherwise", n)
		}
		if err := text.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestCSVHasAColumnForEachLabel(t *testing.T) {
	var out bytes.Buffer
	w := NewCSV(&out)
	air := &metrics.Metric{Name: "air", Labels: []string{"site", "circuit"}}
	at := time.Date(2026, 3, 1, 13, 0, 0, 0, time.FixedZone("", 3600))
	for _, site := range []string{`a,"b`, "plain"} {
		if err := w.Add(at, metrics.Sample{Metric: air, Labels: []string{site, "case"}, Value: 1.5}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Add(at, metrics.Sample{Metric: &metrics.Metric{Name: "x", Labels: []string{"nowhere"}}, Labels: []string{"y"}}); err == nil {
		t.Error("a label without a column is lost")
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil || len(rows) != 3 {
		t.Fatalf("%v: %v", rows, err)
	}
	for i, site := range []string{`a,"b`, "plain"} {
		row := rows[i+1]
		cell := func(name string) string { return row[slices.Index(rows[0], name)] }
		if cell("time") != "2026-03-01T12:00:00Z" || cell("metric") != "air" || cell("site") != site || cell("circuit") != "case" || cell("group") != "" || cell("value") != "1.5" {
			t.Errorf("%v under %v", row, rows[0])
		}
	}
}
