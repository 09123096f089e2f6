package phase

import (
	"math"
	"testing"
	"time"

	"dewgap/analyze/frame"
)

// coil returns a circuit that refrigerates as usual: dew −10 °C, coil outlet
// −4 °C (6 K over it), air 2 °C, swaying by 0.5 K on average.
func coil() *Circuit {
	c := NewCircuit(frame.Electric)
	b := &c.Before
	b.dew.Set(-10)
	b.outlet.Set(-4)
	b.superheat.Set(6)
	b.air.Set(2)
	b.gap.Set(12)
	b.sway.Set(0.5)
	c.dew.Set(-10)
	c.air.Set(2)
	c.stage, c.first, c.last = frame.Refrigerating, 1e15-3600e9, 1e15
	c.feed.restless.Set(0.5)
	return &c
}

// watchFor holds the outlet for a time, from the time at on, as mean of each 5 s, and
// returns the end.
func watchFor(c *Circuit, at int64, outlet float64, long time.Duration) int64 {
	s := limitsFrom(Settings{}, 4)
	for end := at + int64(long); at < end; at += 5e9 {
		c.coil.Update(at, outlet)
		c.feed.watch(at, c, 5e9, &s)
	}
	return at
}

// An outlet without liquid rises over its usual superheat, by more than it
// usually moves, and by more while a pulldown swings; the outlet itself is then
// higher than usual. One step to each side. Common practice, no source.
func TestFeedStops(t *testing.T) {
	for _, c := range []struct {
		name        string
		stage       frame.Stage
		dew, outlet float64
		restless    float64
		long        time.Duration
		want        bool
	}{
		{"over", frame.Refrigerating, -10, -0.3, 0.5, 2 * time.Minute, true},
		{"under", frame.Refrigerating, -10, -0.7, 0.5, 2 * time.Minute, false},
		{"over, restless", frame.Refrigerating, -10, 3.2, 2, 2 * time.Minute, true},
		{"under, restless", frame.Refrigerating, -10, 2.6, 2, 2 * time.Minute, false},
		{"over, in a pulldown", frame.PullingDown, -10, 3.7, 0.5, 2 * time.Minute, true},
		{"under, in a pulldown", frame.PullingDown, -10, 3.3, 0.5, 2 * time.Minute, false},
		{"outlet up, dew far down", frame.Refrigerating, -14, -0.8, 0.5, 2 * time.Minute, true},
		{"outlet hardly up, dew far down", frame.Refrigerating, -14, -1.2, 0.5, 2 * time.Minute, false},
		{"outlet far up, dew with it", frame.Refrigerating, 2, 8.2, 0.5, 2 * time.Minute, true},
		{"outlet less far up, dew with it", frame.Refrigerating, 2, 7.8, 0.5, 2 * time.Minute, false},
		{"long enough", frame.Refrigerating, -10, 0, 0.5, 60 * time.Second, true},
		{"not long enough", frame.Refrigerating, -10, 0, 0.5, 45 * time.Second, false},
	} {
		k := coil()
		k.stage = c.stage
		at := watchFor(k, 1e15, -4, time.Minute)
		k.feed.restless.Set(c.restless)
		k.dew.Set(c.dew)
		watchFor(k, at, c.outlet, c.long)
		if k.feed.shut != c.want {
			t.Errorf("%s: shut %v, want %v", c.name, k.feed.shut, c.want)
		}
		if k.feed.shut && (k.feed.from < at || k.feed.from > at+15e9) {
			t.Errorf("%s: shut since %d s after the outlet rose", c.name, (k.feed.from-at)/1e9)
		}
	}
	// What is not known yet is taken as it is: no rise.
	k := coil()
	k.Before, k.feed = Before{}, newFeedDetector()
	if watchFor(k, 1e15, 5, 2*time.Minute); k.feed.shut {
		t.Error("shut, although nobody knows the usual outlet")
	}
	k = coil()
	k.feed.restless.Reset()
	at := watchFor(k, 1e15, -4, 10*time.Second)
	k.feed.restless.Reset()
	if watchFor(k, at, -0.2, 2*time.Minute); !k.feed.shut {
		t.Error("not shut, although the outlet rose by 3.8 K")
	}
}

// What the coil's superheat usually moves is learned of undisturbed running.
func TestFeedLearnsNoise(t *testing.T) {
	k := coil()
	at := int64(1e15)
	for range 360 {
		at = watchFor(k, at, -3, 10*time.Second)
		at = watchFor(k, at, -5, 10*time.Second)
	}
	if got := k.feed.restless.Value(); math.Abs(got-1) > 0.02 {
		t.Errorf("moves by %.2f K, want 1", got)
	}
}

// Liquid is back when the outlet falls by 3 K in a minute or is near its usual
// superheat for two; a pause counts and its length is kept, fading.
func TestFeedReturns(t *testing.T) {
	for _, c := range []struct {
		name   string
		outlet float64 // °C, from 0 °C slowly down to it
		long   time.Duration
		want   bool // fed
	}{
		{"near its usual", -2.4, 150 * time.Second, true},
		{"near its usual, not long enough", -2.4, 100 * time.Second, false},
		{"above its usual", -2.2, 150 * time.Second, false},
	} {
		k := coil()
		at := watchFor(k, 1e15, -4, time.Minute)
		at = watchFor(k, at, 0, time.Minute)
		if !k.feed.shut {
			t.Fatal("not shut")
		}
		for o := 0.0; o > c.outlet; o -= 0.1 { // slower than 3 K in a minute
			at = watchFor(k, at, o, 5*time.Second)
		}
		watchFor(k, at, c.outlet, c.long)
		if k.feed.shut == c.want {
			t.Errorf("%s: shut %v", c.name, k.feed.shut)
		}
	}
	// A dew that rises with the outlet makes the superheat small; the outlet shows it.
	for outlet, want := range map[float64]bool{-1.2: true, -0.8: false} {
		k := coil()
		k.feed.shut, k.feed.from, k.feed.calm, k.feed.proven = true, 1e15, 1e15, true
		k.dew.Set(-6)
		if watchFor(k, 1e15, outlet, 150*time.Second); k.feed.shut == want {
			t.Errorf("outlet at %g °C, dew at −6 °C: shut %v", outlet, k.feed.shut)
		}
	}
	// Longer than any defrost, it is a coil with other habits.
	for long, want := range map[time.Duration]bool{89 * time.Minute: true, 90*time.Minute + 20*time.Second: false} {
		k := coil()
		k.feed.shut, k.feed.from, k.feed.calm = true, 1e15, 1e15
		if watchFor(k, 1e15, 20, long); k.feed.shut != want {
			t.Errorf("after %v: shut %v", long, k.feed.shut)
		}
	}
	k := coil()
	k.feed.shut, k.feed.from, k.feed.calm, k.feed.longest, k.feed.above = true, 1e15-60e9, 1e15, 500e9, 1e15-60e9
	if watchFor(k, 1e15, -4, 130*time.Second); k.feed.shut || k.feed.pauses != 1 || k.feed.longest != 450e9 || k.feed.above != 0 {
		t.Errorf("after a short pause: shut %v, %d pauses, longest %d s, want 450", k.feed.shut, k.feed.pauses, k.feed.longest/1e9)
	}
	k.feed.shut, k.feed.from, k.feed.calm = true, 1e15-500e9, 1e15+200e9
	if watchFor(k, 1e15+200e9, -4, 130*time.Second); k.feed.longest < 815e9 || k.feed.longest > 830e9 {
		t.Errorf("after a long pause: longest %d s, want 825", k.feed.longest/1e9)
	}
}

// An outlet falls when liquid comes back: by 3 K in a minute, and by more than
// an eighth of its height over the air, or over 0 °C where that is not known,
// for a hot coil cools by itself.
func TestOutletFalls(t *testing.T) {
	for _, c := range []struct {
		air, from, to float64
		long          time.Duration
		want          bool
	}{
		{2, 5, 1.8, time.Minute, true}, {2, 5, 2.2, time.Minute, false},
		{2, 50, 43.9, time.Minute, true}, {2, 50, 44.5, time.Minute, false}, // 48 K × 0.12
		{nan, 50, 43.7, time.Minute, true}, {nan, 50, 44.1, time.Minute, false}, // 50 K × 0.12
		{-20, 30, 23.7, time.Minute, true}, {-20, 30, 24.3, time.Minute, false},
		{2, 5, 0, 55 * time.Second, true}, {2, 5, 0, 80 * time.Second, false}, // slower than a minute
	} {
		k := coil()
		k.air.Reset()
		k.air.Set(c.air)
		if math.IsNaN(c.air) {
			k.air.Reset()
		}
		at := watchFor(k, 1e15, c.from, time.Minute)
		at = watchFor(k, at, (c.from+c.to)/2+0.4, c.long-15*time.Second)
		at = watchFor(k, at, c.to, 15*time.Second)
		if got := k.falls(at); got != c.want {
			t.Errorf("air %g °C, from %g to %g °C in %v: falls %v", c.air, c.from, c.to, c.long, got)
		}
	}
}

// No pause of a thermostat takes a coil above its air, warms the air beyond what
// the thermostat allows (three mean deviations, 3.5 °C here) or lasts as long as a defrost; where no air
// is measured, a thawed outlet far over its usual shows it. Common practice.
func TestProofOfDefrost(t *testing.T) {
	s := limitsFrom(Settings{}, 4)
	for _, c := range []struct {
		name        string
		outlet, air float64
		usual       float64 // outlet
		minutes     float64
		longest     float64 // pause before, minutes
		want        bool
	}{
		{"outlet at the air", 4, 2, -4, 5, 0, false},
		{"outlet under the air by far", -10, 2, -4, 5, 0, false},
		{"outlet over the air", 4.7, 2, -4, 5, 0, true},
		{"outlet hardly over the air", 4.3, 2, -4, 5, 0, false},
		{"air warmer than ever", 3, 4.7, -4, 5, 0, true},
		{"air hardly warmer", 3, 4.3, -4, 5, 0, false},
		{"no air, thawed", 4.2, nan, -4, 5, 0, true},
		{"no air, not far over its usual", 3.8, nan, -4, 5, 0, false},
		{"no air, frozen", 1.8, nan, -8, 5, 0, false},
		{"no air, just thawed", 2.2, nan, -8, 5, 0, true},
		{"no longer than a pause", 0, 2, -4, 8.9, 0, false},
		{"longer than a pause", 0, 2, -4, 9.1, 0, true},
		{"where pauses are long", 0, 2, -4, 14.9, 6, false},
		{"longer than those", 0, 2, -4, 15.1, 6, true},
	} {
		k := coil()
		k.Before.outlet.Set(c.usual)
		k.air.Reset()
		if !math.IsNaN(c.air) {
			k.air.Set(c.air)
		}
		k.feed.from, k.feed.longest = 1e15, int64(c.longest*60e9)
		if got := k.feed.proof(1e15+int64(c.minutes*60e9), c.outlet, k, &s); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// A circuit without a defrost signal that is seen for the first time: fed where
// the outlet is cold, close over dew and colder than its air; else perhaps in a
// defrost, which a thawed outlet shows. Common practice, no source.
func TestFirstSeenByOutlet(t *testing.T) {
	for _, c := range []struct {
		name             string
		dew, outlet, air float64
		seconds          int64
		want             frame.Stage
	}{
		{"fed", -10, -4, 2, 126, frame.Refrigerating},
		{"fed, not long enough", -10, -4, 2, 118, frame.StageUnknown},
		{"close enough over dew", -12.8, 0, 2, 300, frame.Refrigerating},
		{"too far over dew", -13.2, 0, 2, 300, frame.StageUnknown},
		{"cold enough", -10, 0.9, 2, 300, frame.Refrigerating},
		{"not cold", -10, 1.1, 2, 300, frame.StageUnknown},
		{"a little over its air", -10, -4, -5.8, 300, frame.Refrigerating},
		{"over its air", -10, -4, -6.3, 300, frame.StageUnknown},
		{"thawed", -10, 3.2, 2, 126, frame.Defrosting},
		{"thawed, not long enough", -10, 3.2, 2, 118, frame.StageUnknown},
		{"not thawed", -10, 2.8, 2, 300, frame.StageUnknown},
	} {
		k := NewCircuit(frame.Electric)
		s := limitsFrom(Settings{}, 4)
		k.dew.Set(c.dew)
		k.air.Set(c.air)
		k.first = 1e15
		for i := int64(-5); i <= c.seconds; i++ {
			at := 1e15 + i*1e9
			k.coil.Update(at, c.outlet)
			if i >= 0 {
				k.inferByOutlet(at, 0, &s)
			}
		}
		if k.stage != c.want {
			t.Errorf("%s: stage %d, want %d", c.name, k.stage, c.want)
		}
	}
	// A swing in between starts the two minutes again.
	k := NewCircuit(frame.Electric)
	s := limitsFrom(Settings{}, 4)
	k.dew.Set(-10)
	k.first = 1e15
	for i := int64(0); i < 300; i++ {
		outlet := -4.0
		if i%100 > 80 {
			outlet = 2
		}
		k.coil.Update(1e15+i*1e9, outlet)
		k.inferByOutlet(1e15+i*1e9, 0, &s)
	}
	if k.stage != frame.StageUnknown {
		t.Errorf("an outlet that swings: stage %d, want unknown", k.stage)
	}
}

// A shut valve is a defrost: at once where no pause was ever seen, else when
// proven; what turns out to be a pause was none.
func TestPauseOrDefrost(t *testing.T) {
	s := limitsFrom(Settings{}, 4)
	for _, c := range []struct {
		name   string
		stage  frame.Stage
		proven bool
		pauses int
		want   frame.Stage
	}{
		{"never a pause", frame.Refrigerating, false, 0, frame.Defrosting},
		{"a pause before", frame.Refrigerating, false, 1, frame.Refrigerating},
		{"a pause before, proven", frame.Refrigerating, true, 1, frame.Defrosting},
		{"in a pulldown", frame.PullingDown, false, 0, frame.PullingDown},
		{"in a pulldown, proven", frame.PullingDown, true, 0, frame.Defrosting},
	} {
		k := coil()
		k.stage = c.stage
		k.feed.shut, k.feed.proven, k.feed.pauses, k.feed.from = true, c.proven, c.pauses, 1e15-60e9
		k.inferByOutlet(1e15, 0, &s)
		if k.stage != c.want || c.want == frame.Defrosting && k.Last.Began != k.feed.from {
			t.Errorf("%s: stage %d, began %d", c.name, k.stage, k.Last.Began)
		}
	}
	for _, c := range []struct {
		name   string
		proven bool
		pauses int
		began  int64
		want   frame.Stage
	}{
		{"it was a pause", false, 1, 1e15 - 60e9, frame.Refrigerating},
		{"proven", true, 1, 1e15 - 60e9, frame.PullingDown},
		{"another began it", false, 1, 1e15 - 90e9, frame.PullingDown},
		{"no pause", false, 0, 1e15 - 60e9, frame.PullingDown},
	} {
		k := coil()
		k.stage = frame.Defrosting
		k.Last.Began = c.began
		k.feed.proven, k.feed.pauses, k.feed.from = c.proven, c.pauses, 1e15-60e9
		k.inferByOutlet(1e15, 0, &s)
		if k.stage != c.want {
			t.Errorf("%s: stage %d, want %d", c.name, k.stage, c.want)
		}
	}
}

// A circuit of which only the air is known: uncooled air goes over the highest
// of undisturbed running (3.5 °C here: three mean deviations), and turns when
// it is cooled again. Common practice, no source.
func TestByAirAlone(t *testing.T) {
	s := limitsFrom(Settings{}, 4)
	for _, c := range []struct {
		air     float64
		seconds int64
		want    frame.Stage
	}{
		{4.4, 50, frame.Defrosting}, {4.2, 50, frame.Refrigerating}, {4.4, 40, frame.Refrigerating}, {-9, 50, frame.Refrigerating},
	} {
		k := coil()
		k.air.Set(c.air)
		for i := range c.seconds {
			k.inferByAir(1e15+i*1e9, &s)
		}
		if k.stage != c.want || c.want == frame.Defrosting && (k.Last.Began != 1e15 || k.feed.crest != c.air) {
			t.Errorf("air at %g °C for %d s: stage %d, want %d", c.air, c.seconds, k.stage, c.want)
		}
	}
	k := coil()
	for i := range int64(100) { // warm for half the time only
		k.air.Set(5 - 3*float64(i/30%2))
		k.inferByAir(1e15+i*1e9, &s)
	}
	if k.stage != frame.Refrigerating {
		t.Error("air that swings for half a minute is taken for a defrost")
	}
	for _, c := range []struct {
		name       string
		crest, air float64
		minutes    int64
		want       frame.Stage
	}{
		{"turned", 6, 5.2, 20, frame.PullingDown},
		{"not turned", 6, 5.4, 20, frame.Defrosting},
		{"still rising", 6, 7, 20, frame.Defrosting},
		{"turned, from far up", 22, 19.9, 20, frame.PullingDown}, // a tenth of 20 K
		{"not turned, from far up", 22, 20.1, 20, frame.Defrosting},
		{"as cool as undisturbed", 3.6, 3.4, 20, frame.PullingDown},
		{"nearly as cool", 3.8, 3.6, 20, frame.Defrosting},
		{"longer than any defrost", 6, 7, 91, frame.PullingDown},
		{"as long as some", 6, 7, 89, frame.Defrosting},
	} {
		k := coil()
		k.stage = frame.Defrosting
		k.air.Set(c.air)
		k.feed.crest, k.Last.Began = c.crest, 1e15
		k.inferByAir(1e15+c.minutes*60e9, &s)
		if k.stage != c.want || c.want == frame.PullingDown && k.Last.Ended == 0 {
			t.Errorf("%s: stage %d, want %d", c.name, k.stage, c.want)
		}
	}
	for seconds, want := range map[int64]frame.Stage{119: frame.StageUnknown, 120: frame.Refrigerating} {
		k := NewCircuit(frame.OffCycle)
		k.first = 1e15
		k.air.Set(2)
		if k.inferByAir(1e15+seconds*1e9, &s); k.stage != want {
			t.Errorf("%d s after the first: stage %d", seconds, k.stage)
		}
	}
}
