package plant_test

import (
	"testing"
	"time"
)

// One stuck valve, one wet compressor: liquid turns into the take-off that its
// branch enters at, and the other compressors keep the contract's default floor
// of 11 K.
func TestDemoFloodsOneCompressorAfterADefrost(t *testing.T) {
	p := load(t, "demo")
	start, wet := p.Now(), 0
	for p.Now().Before(start.Add(70 * time.Minute)) {
		p.Step(5 * time.Second)
		at := p.Now().Sub(start)
		for _, c := range p.Truth() {
			faulty := c.Group == "lt" && c.Compressor == "c2"
			switch {
			case !c.Running:
			case faulty && c.Phase == "pulldown" && c.LiquidFraction > 0.01:
				wet += 5
			case faulty && at < 10*time.Minute && c.LiquidFraction > 0:
				t.Fatalf("%v: wet before the end of the defrost", at)
			case !faulty && c.SuperheatK < 11:
				t.Fatalf("%v: %s.%s has %.1f K in %s", at, c.Group, c.Compressor, c.SuperheatK, c.Phase)
			}
		}
	}
	if wet < 600 {
		t.Errorf("%d s of wet pulldown at lt.c2, want 10 min at least", wet)
	}
}

// Compressor-days an hour on one core, at 1 s.
func BenchmarkCompressorDay(b *testing.B) {
	p := load(b, "demo")
	for b.Loop() {
		p.Step(24 * time.Hour / 5) // five compressors
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Hours(), "compressor-days/h")
}
