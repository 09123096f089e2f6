package scan

import (
	"fmt"
	"math"
	"time"
)

// Role is what the movement of a place makes of it, as the site file names it.
type Role string

// Roles that movement can show.
const (
	NoRole               Role = ""
	Running              Role = "running"
	SuctionPressure      Role = "suction_pressure"
	DischargePressure    Role = "discharge_pressure"
	SuctionTemperature   Role = "suction_temperature"
	DischargeTemperature Role = "discharge_temperature"
)

// How the reaction to a start or stop is looked for. Common practice, no source.
const (
	reactsWithin    = 3 * time.Minute
	settlesAfter    = 10 * time.Second
	minMovePressure = 15_000.0 // Pa
	minMoveKelvin   = 1.0      // K
	noiseFactor     = 4
	hotLine         = 40.0 // °C, above which a temperature that rises is a discharge line
)

// Movement looks at what each place did when switches went on and off, and writes
// why and role into found. times are those of the series.
func Movement(found []Found, times []time.Time) {
	type votes struct{ up, down, seen int }
	for s := range found {
		if len(found[s].Readings) == 0 || found[s].Readings[0].Kind != Switch {
			continue
		}
		turns := turnsOf(found[s].Readings[0].Series)
		if len(turns) == 0 {
			continue
		}
		agrees := 0
		for i := range found {
			f := &found[i]
			if len(f.Readings) == 0 || f.Readings[0].Kind == Switch {
				continue
			}
			var v votes
			total := 0.0
			for _, turn := range turns {
				change, moved := reaction(&f.Readings[0], times, turn.row)
				if !turn.on {
					change = -change
				}
				switch {
				case !moved:
				case change > 0:
					v.up++
				default:
					v.down++
				}
				if moved {
					v.seen++
					total += change
				}
			}
			// Most of the turns, and all in the same direction.
			if v.seen*2 <= len(turns) || v.up > 0 && v.down > 0 {
				continue
			}
			role := roleOf(&f.Readings[0], v.up > 0)
			if f.Role != NoRole && role != f.Role {
				continue
			}
			verb := "falls"
			if v.up > 0 {
				verb = "rises"
			}
			f.Role = role
			f.Why = fmt.Sprintf("%s by %s when %s goes on (%d of %d turns)", verb, difference(&f.Readings[0], total/float64(v.seen)), found[s].Name(), v.seen, len(turns))
			if role == SuctionPressure || role == DischargePressure {
				agrees++
			}
		}
		if agrees > 0 {
			found[s].Role = Running
			found[s].Why = fmt.Sprintf("pressures follow it (%d turns)", len(turns))
		}
	}
}

// turn is a row in which a switch changed.
type turn struct {
	row int
	on  bool
}

func turnsOf(values []float64) []turn {
	var all []turn
	last := math.NaN()
	for i, v := range values {
		if math.IsNaN(v) {
			continue
		}
		if !math.IsNaN(last) && v != last {
			all = append(all, turn{i, v != 0})
		}
		last = v
	}
	return all
}

// reaction returns how far a reading moved after a row, in its unit, and whether
// that is more than it moves by itself.
func reaction(r *Reading, times []time.Time, row int) (change float64, moved bool) {
	before, noise, n := math.NaN(), 0.0, 0
	last := math.NaN()
	for i := 0; i < row; i++ {
		v := r.Series[i]
		if math.IsNaN(v) {
			continue
		}
		if !math.IsNaN(last) {
			noise += math.Abs(v - last)
			n++
		}
		last, before = v, v
	}
	if n > 0 {
		noise /= float64(n)
	}
	for i := row; i < len(r.Series); i++ {
		since := times[i].Sub(times[row])
		if v := r.Series[i]; !math.IsNaN(v) && since >= settlesAfter && since <= reactsWithin && math.Abs(v-before) > math.Abs(change) {
			change = v - before
		}
	}
	return change, math.Abs(change) > max(noiseFactor*noise, smallest(r))
}

// smallest is the smallest change that counts, in the reading's unit.
func smallest(r *Reading) float64 {
	if r.Kind == Pressure {
		return minMovePressure / (r.Unit.SI(1) - r.Unit.SI(0))
	}
	return minMoveKelvin / (r.Unit.SI(1) - r.Unit.SI(0))
}

// roleOf is what a place is that rises or falls when a machine starts: suction
// pressure falls and discharge pressure rises, and so do the lines.
func roleOf(r *Reading, rises bool) Role {
	switch {
	case r.Kind == Pressure && rises:
		return DischargePressure
	case r.Kind == Pressure:
		return SuctionPressure
	case rises && r.Unit.SI(r.Last()) > hotLine:
		return DischargeTemperature
	case !rises:
		return SuctionTemperature
	}
	return NoRole
}

func difference(r *Reading, change float64) string {
	name := r.Unit.Name
	switch r.Unit {
	case degC:
		name = "K"
	case degF:
		name = "°F"
	case barg, psig, kPag:
		name = name[:len(name)-1]
	}
	return fmt.Sprintf("%.2g %s", math.Abs(change), name)
}

// Name is how a person finds the place.
func (p *Place) Name() string {
	if p.Topic == "" {
		return fmt.Sprintf("%s %d", p.Table, p.Address)
	}
	if p.Pointer == "" {
		return p.Topic
	}
	return p.Topic + " at " + p.Pointer
}
