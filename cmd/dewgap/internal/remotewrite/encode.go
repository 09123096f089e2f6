package remotewrite

import (
	"math"
	"sort"
	"strings"

	"github.com/golang/snappy"
	"google.golang.org/protobuf/encoding/protowire"

	"dewgap/cmd/dewgap/internal/metrics"
)

// Fields of the messages of remote write 1.0 (prometheus.WriteRequest and below).
const (
	fieldSeries  = 1 // WriteRequest.timeseries
	fieldLabels  = 1 // TimeSeries.labels
	fieldSamples = 2 // TimeSeries.samples
	fieldName    = 1 // Label.name
	fieldText    = 2 // Label.value
	fieldValue   = 1 // Sample.value
	fieldTime    = 2 // Sample.timestamp
)

// staleMarker is the value that ends a series in a Prometheus at once; without it
// the last value would be shown for five minutes more.
var staleMarker = math.Float64frombits(0x7ff0000000000002)

// series is a series with its labels as they are sent.
type series struct {
	key     string
	labels  []byte // encoded, with their field numbers
	counter bool
	// ofMachine is set where it is of the gateway and not of the recordings.
	ofMachine bool
}

// catalogue keeps the encoded labels of the series seen.
type catalogue map[string]*series

// maxSeries bounds a catalogue: events come and go, each with a series of its own.
const maxSeries = 16384

// keyOf names a series. It stands in the cursor, so it has to be valid text.
func keyOf(s metrics.Sample) string { return s.Metric.Name + "\x1f" + strings.Join(s.Labels, "\x1f") }

// of returns the series of a sample.
func (c catalogue) of(s metrics.Sample) *series {
	key := keyOf(s)
	found := c[key]
	if found == nil {
		if len(c) >= maxSeries {
			clear(c)
		}
		found = &series{key: key, labels: encodeLabels(s), counter: s.Metric.Counter}
		c[key] = found
	}
	return found
}

// encodeLabels writes name and labels in order of their names, without empty ones.
func encodeLabels(s metrics.Sample) []byte {
	pairs := [][2]string{{"__name__", s.Metric.Name}}
	for i, name := range s.Metric.Labels {
		if s.Labels[i] != "" {
			pairs = append(pairs, [2]string{name, s.Labels[i]})
		}
	}
	sort.Slice(pairs, func(i, k int) bool { return pairs[i][0] < pairs[k][0] })
	var out, label []byte
	for _, p := range pairs {
		label = protowire.AppendTag(label[:0], fieldName, protowire.BytesType)
		label = protowire.AppendString(label, p[0])
		label = protowire.AppendTag(label, fieldText, protowire.BytesType)
		label = protowire.AppendString(label, p[1])
		out = protowire.AppendTag(out, fieldLabels, protowire.BytesType)
		out = protowire.AppendBytes(out, label)
	}
	return out
}

// sample is a value of a series at an instant.
type sample struct {
	*series
	value float64
}

// instant is what is sent of one row.
type instant struct {
	at      int64 // ms since the epoch
	samples []sample
}

// encode returns the body of a request: each series once, with its samples in the
// order of the instants.
func encode(instants []instant) []byte {
	place := map[*series]int{}
	var order []*series
	var samples [][]byte
	var one []byte
	for i := range instants {
		for _, s := range instants[i].samples {
			n, ok := place[s.series]
			if !ok {
				n = len(order)
				place[s.series] = n
				order = append(order, s.series)
				samples = append(samples, nil)
			}
			one = protowire.AppendTag(one[:0], fieldValue, protowire.Fixed64Type)
			one = protowire.AppendFixed64(one, math.Float64bits(s.value))
			one = protowire.AppendTag(one, fieldTime, protowire.VarintType)
			one = protowire.AppendVarint(one, uint64(instants[i].at))
			samples[n] = protowire.AppendTag(samples[n], fieldSamples, protowire.BytesType)
			samples[n] = protowire.AppendBytes(samples[n], one)
		}
	}
	var out []byte
	for n, s := range order {
		out = protowire.AppendTag(out, fieldSeries, protowire.BytesType)
		out = protowire.AppendVarint(out, uint64(len(s.labels)+len(samples[n])))
		out = append(append(out, s.labels...), samples[n]...)
	}
	return snappy.Encode(nil, out)
}
