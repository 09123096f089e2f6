package superheat

import (
	"testing"
	"time"

	"dewgap/analyze/reading"
)

// BenchmarkSample is one pressure and one temperature from reading to
// superheat with its uncertainty, once a second: the widest median.
func BenchmarkSample(b *testing.B) {
	p, t := NewSuction(chart{}, 0), NewSignal(reading.SuctionTemperature, 0)
	m := NewMeter(chart{}, Sensor{}, Sensor{})
	var v Value
	b.ReportAllocs()
	at := int64(0)
	for i := 0; b.Loop(); i++ {
		at += int64(time.Second)
		wobble := float64(i * 7 % 11)
		p.Take(at, good(159000+100*wobble))
		t.Take(at, good(-18+0.1*wobble))
		m.Observe(at, &p, &t, &v)
	}
}
