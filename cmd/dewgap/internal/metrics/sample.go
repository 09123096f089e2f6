package metrics

import (
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"dewgap/cmd/dewgap/internal/snapshot"
)

// Metric is a name with its labels, as a scrape shows it.
type Metric struct {
	Name    string
	Help    string
	Labels  []string // names, site first
	Counter bool     // otherwise it is a gauge
	Order   int      // of the declaration; each has its own
}

// Sample is the value of one series.
type Sample struct {
	Metric *Metric
	Labels []string // values, same index as Metric.Labels
	Value  float64
}

// Part is a part of the metrics that follows from rows alone: a replay of the
// recording knows it as well as the daemon does.
type Part uint8

// Parts.
const (
	Inputs Part = 1 << iota // values of inputs, their age and quality
	Plant                   // states of compressors and circuits, what cannot be judged, trends
	Counts                  // totals and open events
	OfRows = Inputs | Plant | Counts
)

// Of calls yield with each series that a scrape shows of parts at the instant of
// s, from the same code.
func Of(s *snapshot.Snapshot, parts Part, yield func(Sample)) {
	e := newEmitter(s, yielding(yield))
	if parts&Counts != 0 {
		e.counts(s)
	}
	if parts&Plant != 0 {
		e.plant(s)
	}
	if parts&Inputs != 0 {
		e.inputs(s, 0)
	}
}

// OfMachine calls yield with each series of the gateway itself that a scrape shows
// when s is of the given age.
func OfMachine(s *snapshot.Snapshot, age time.Duration, build Build, yield func(Sample)) {
	e := newEmitter(s, yielding(yield))
	e.gauge(buildInfo, 1, build.Version, build.GoVersion)
	e.machine(s, age)
}

func yielding(yield func(Sample)) func(*prometheus.Desc, prometheus.ValueType, float64, []string) {
	return func(d *prometheus.Desc, _ prometheus.ValueType, v float64, labels []string) {
		yield(Sample{metricOf[d], labels, v})
	}
}

// ofMachineAlone are the labels that no metric of rows has.
var ofMachineAlone = []string{"source", "reason", "target", "receiver", "fault", "version", "goversion"}

// RowLabels returns the labels of the metrics that follow from rows, each once.
func RowLabels() []string {
	var names []string
	for _, d := range reference {
		for _, l := range d.labels {
			if !slices.Contains(names, l) && !slices.Contains(ofMachineAlone, l) {
				names = append(names, l)
			}
		}
	}
	return names
}
