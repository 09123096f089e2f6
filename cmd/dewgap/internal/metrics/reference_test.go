package metrics

import (
	"fmt"
	"strings"
	"testing"
)

// referenceText is every metric as a table for people.
func referenceText() string {
	var b strings.Builder
	b.WriteString("# Metrics\n\nMade from the code by `go test ./cmd/dewgap/internal/metrics -update`. Base units. A value that is not known is absent: never 0, never the last one. Counters exist from the first scrape and survive a restart where the table says so. `_total` are counters, all others gauges.\n\n| name | labels | meaning |\n| --- | --- | --- |\n")
	var labels []string
	for i, d := range reference {
		labels = append(labels, strings.Join(d.labels, ", "))
		if i+1 < len(reference) && reference[i+1].name == d.name {
			continue // the same metric with the labels of another place
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s |\n", d.name, strings.Join(labels, "; or "), d.help)
		labels = nil
	}
	return b.String()
}

func TestReferenceIsUpToDate(t *testing.T) {
	matchesFile(t, "../../../../config/monitoring/metrics.md", referenceText())
}
