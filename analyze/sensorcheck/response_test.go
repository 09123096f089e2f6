package sensorcheck

import (
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// plays is a single unit or a rack that a test stops and starts, with a suction
// pressure that the test sets.
type plays struct {
	*harness
	pace time.Duration
}

func newPlays(t *testing.T, compressors int, pace time.Duration) *plays {
	p := &plays{newHarness(t, setUp{compressors: compressors, circuits: 1}), pace}
	p.turn(frame.Yes)
	p.run(30, p.pace)
	return p
}

// turn stops or starts all compressors, as their signals show at once.
func (p *plays) turn(on frame.Tristate) {
	for i := range p.x.Compressors {
		p.turnOne(i, on)
	}
}

func (p *plays) turnOne(i int, on frame.Tristate) {
	k := &p.x.Compressors[i]
	k.Running, k.Sure, k.Signal, k.Phase, k.Discharge = on, true, on, frame.Steady, 70
	if on == frame.No {
		k.Phase, k.Discharge = frame.Off, 50
	}
}

// reads sets what the suction pressure reads, in Pa, beside a line that stays.
func (p *plays) reads(pressure float64) {
	dew := p.checker.dewOf(units.Pascal(pressure))
	for i := range p.x.Compressors {
		v := &p.x.Compressors[i].Inlet
		v.Pressure, v.Dew, v.DelayedDew = units.Pascal(pressure), dew, dew
		v.Superheat = v.Temperature.Above(dew)
	}
}

// cycle stops the group for some minutes, in which its pressure rises by a share,
// and runs it again.
func (p *plays) cycle(share, stopped, running float64) {
	level := float64(p.saturated(-10))
	p.turn(frame.No)
	p.reads(level * (1 + share))
	p.run(stopped, p.pace)
	p.turn(frame.Yes)
	p.reads(level)
	p.run(running, p.pace)
}

// Trap 61: a transmitter behind a shut valve is steady and plausible while the
// machine cycles. It is found at the second stop, whatever the interval, without
// a guess of units, and stands until the pressure answers.
func TestTrap61TransmitterBehindAShutValve(t *testing.T) {
	for _, pace := range []time.Duration{10 * time.Second, time.Minute} {
		p := newPlays(t, 1, pace)
		p.cycle(0.003, 6, 20)
		if p.has(evidence.DoesNotRespond) {
			t.Errorf("read each %v: found at the first stop", pace)
		}
		p.cycle(0.003, 6, 1)
		a := p.anomaly(evidence.DoesNotRespond)
		if a == nil {
			t.Fatalf("read each %v: not found at the second stop", pace)
		}
		if a.Bias != 0 || a.Point != suctionAt || len(p.checker.standing) != 1 {
			t.Errorf("read each %v: %+v", pace, p.checker.standing)
		}
		if v := a.Message.Number("turns_count"); v != 3 {
			t.Errorf("read each %v: %g turns counted, want two stops and a start", pace, v)
		}
		p.run(120, pace)
		if !p.has(evidence.DoesNotRespond) {
			t.Errorf("read each %v: forgotten in two hours of running", pace)
		}
		p.cycle(0.3, 6, 10)
		if p.has(evidence.DoesNotRespond) {
			t.Errorf("read each %v: stands though the pressure answers", pace)
		}
	}
}

// After one stop without a response nothing is guessed of the pressure, and what
// was guessed before gives way when it is found not to respond.
func TestNoGuessOfAPressureThatDoesNotRespond(t *testing.T) {
	for _, test := range []struct {
		name    string
		share   float64
		guessed bool
	}{{"answers", 0.3, true}, {"silent", 0.003, false}} {
		p := newPlays(t, 1, 10*time.Second)
		p.cycle(test.share, 6, 10)
		if p.checker.isMute(suctionAt) == test.guessed {
			t.Errorf("%s: mute is %v", test.name, !test.guessed)
		}
		if a := p.checker.raise(evidence.CoilsTooWet, suctionAt, 0, p.x.At); (a != nil) != test.guessed {
			t.Errorf("%s: guess raised is %v", test.name, a != nil)
		}
	}
	p := newPlays(t, 1, 10*time.Second)
	p.checker.standing = append(p.checker.standing, Anomaly{Code: evidence.CoilsTooWet, Point: suctionAt, Message: &evidence.Item{Code: evidence.Stale}})
	p.cycle(0.003, 6, 10)
	p.checker.retain(evidence.CoilsTooWet, suctionAt)
	p.cycle(0.003, 6, 10)
	if p.has(evidence.CoilsTooWet) || !p.has(evidence.DoesNotRespond) {
		t.Errorf("%+v", p.checker.standing)
	}
}

func TestResponseLimits(t *testing.T) {
	cycles := func(t *testing.T, set func(p *plays), share, stopped float64) bool {
		p := newPlays(t, 1, 30*time.Second)
		set(p)
		for range 3 {
			p.cycle(share, stopped, 15)
		}
		return p.has(evidence.DoesNotRespond)
	}
	nothing := func(*plays) {}
	checkLimits(t, []limit{
		{"share that the pressure moves by", 0.0115, 0.0085, func(t *testing.T, v float64) bool { return cycles(t, nothing, v, 6) }},
		{"minutes between turns", 2, 3.5, func(t *testing.T, v float64) bool {
			p := newPlays(t, 1, 30*time.Second)
			for range 4 {
				p.cycle(0, v, v)
			}
			return p.has(evidence.DoesNotRespond)
		}},
		{"K that anything beside it moves", 2.8, 3.2, func(t *testing.T, v float64) bool {
			p := newPlays(t, 1, 30*time.Second)
			for i := range 6 {
				p.turn(frame.Of(i%2 == 1))
				p.x.Compressors[0].Discharge = 60 + units.Celsius(v*float64(i%2))
				p.run(10, p.pace)
			}
			return p.has(evidence.DoesNotRespond)
		}},
		{"share that clears it", 0.064, 0.055, func(t *testing.T, v float64) bool {
			p := newPlays(t, 1, 30*time.Second)
			p.cycle(0, 6, 15)
			p.cycle(0, 6, 15)
			p.cycle(v, 6, 15)
			return p.has(evidence.DoesNotRespond)
		}},
		{"stops", 1, 2, func(t *testing.T, v float64) bool {
			p := newPlays(t, 1, 30*time.Second)
			for range int(v) {
				p.cycle(0, 6, 15)
			}
			return p.has(evidence.DoesNotRespond)
		}},
	})
}

// Healthy pressures answer, however coarse and slow their devices are: at 1 psi
// of resolution, refreshed each minute, a stop moves them by several steps.
func TestCoarseAndSlowPressuresRespond(t *testing.T) {
	const psi = 6894.757 // Pa
	p := newPlays(t, 1, 10*time.Second)
	level := float64(p.saturated(-10))
	for range 4 {
		p.turn(frame.No)
		for minute := range 6 { // common practice: half a bar or more in six minutes
			rise := 0.04 * float64(minute) * level
			p.reads(psi * float64(int((level+rise)/psi)))
			p.run(1, p.pace)
		}
		p.turn(frame.Yes)
		p.run(1, p.pace)
		p.reads(psi * float64(int(level/psi)))
		p.run(15, p.pace)
		if p.has(evidence.DoesNotRespond) {
			t.Fatal("a coarse, slow pressure is taken for dead")
		}
	}
}

// One compressor of a rack that stops need not move the pressure that the others
// hold, and what is not sure to run or stand is no turn.
func TestOnlyTurnsOfTheWholeGroupCount(t *testing.T) {
	p := newPlays(t, 2, 30*time.Second)
	for i := range 8 {
		p.turnOne(1, frame.Of(i%2 == 1))
		p.run(8, p.pace)
	}
	if p.has(evidence.DoesNotRespond) || p.checker.isMute(suctionAt) {
		t.Error("a stage was taken for a stop of the group")
	}
	for i := range 8 {
		p.turn(frame.Of(i%2 == 1))
		p.x.Compressors[1].Sure = i%2 == 1
		p.run(8, p.pace)
	}
	if p.has(evidence.DoesNotRespond) || p.checker.isMute(suctionAt) {
		t.Error("a stop that is not sure was counted")
	}
	for i := range 8 {
		p.turn(frame.Of(i%2 == 1))
		p.run(8, p.pace)
	}
	if !p.has(evidence.DoesNotRespond) {
		t.Error("stops of the whole rack were not counted")
	}
}

// A stop across which nobody watched is no stop.
func TestNoResponseIsExpectedAcrossAGap(t *testing.T) {
	p := newPlays(t, 1, 30*time.Second)
	for i := range 8 {
		p.turn(frame.Of(i%2 == 1))
		p.x.LongGap = true
		p.run(0.5, p.pace)
		p.x.LongGap = false
		p.run(8, p.pace)
	}
	if p.checker.isMute(suctionAt) {
		t.Error("a gap was taken for a stop")
	}
}
