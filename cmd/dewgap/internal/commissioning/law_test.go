package commissioning

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
)

// Laws that hold for whatever a recording shows: the record can be written,
// nothing passes that a gap or an end cuts off, and a fail or a refusal has
// its reason.
func TestLaws(t *testing.T) {
	if testing.Short() {
		t.Skip("draws many recordings")
	}
	rapid.Check(t, func(r *rapid.T) {
		hours := rapid.IntRange(1, 14).Draw(r, "hours")
		step := rapid.SampledFrom([]int{5, 20, 60, 90}).Draw(r, "step")
		from := rapid.IntRange(0, hours*hour).Draw(r, "from")
		for_ := rapid.IntRange(0, 2*hour).Draw(r, "for")
		trouble := rapid.SampledFrom([]string{"none", "unknown", "low", "off", "start", "suspect", "no phase", "gap", "no coil", "no air"}).Draw(r, "trouble")
		begin := rapid.IntRange(0, 3*hour).Draw(r, "begin")
		s := scenario{
			length: time.Duration(hours) * time.Hour, begin: begin,
			skip: func(second int) bool {
				return second%step != 0 || trouble == "gap" && second > from && second < from+for_
			},
			change: func(second, _ int, x *stretch) {
				if second < from || second > from+for_ {
					return
				}
				switch trouble {
				case "unknown":
					x.superheat, x.dew, x.pipe = math.NaN(), math.NaN(), math.NaN()
				case "low":
					x.superheat = rapid.Float64Range(-5, 12).Example(second)
				case "off":
					x.phase, x.superheat = frame.Off, math.NaN()
				case "start":
					x.phase, x.superheat = frame.Start, 0
				case "suspect":
					x.quality = reading.Suspect
				case "no phase":
					x.phase = frame.Unknown
				case "no coil":
					x.coil = math.NaN()
				case "no air":
					x.air = math.NaN()
				}
			},
		}
		rec := s.judged(t)
		if _, err := json.Marshal(rec); err != nil {
			r.Fatal(err)
		}
		if (rec.Verdict == Fail || rec.Verdict == NotJudged) && len(rec.Reasons) == 0 {
			r.Fatalf("%s without a reason", rec.Verdict)
		}
		for _, c := range rec.Cycles {
			if good := c.Verdict == Pass || c.Verdict == PassRemarks; good && (c.Cut || step > 60) {
				r.Fatalf("%s %s: cut %v, a row each %d s", c.Circuit, c.Verdict, c.Cut, step)
			}
			if c.Verdict != Pass && len(c.Reasons) == 0 {
				r.Fatalf("%s without a reason", c.Verdict)
			}
			for _, m := range c.Compressors {
				if m.Lowest != nil && *m.Lowest-*m.LowestFloor < *m.Margin-0.1 {
					r.Fatalf("lowest superheat %g K at a floor of %g K, but lowest margin %g K", *m.Lowest, *m.LowestFloor, *m.Margin)
				}
			}
			if len(c.Traces) != len(c.Compressors) {
				r.Fatalf("%d traces of %d compressors", len(c.Traces), len(c.Compressors))
			}
		}
	})
}
