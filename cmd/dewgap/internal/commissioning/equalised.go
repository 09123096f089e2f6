package commissioning

import (
	"math"

	"dewgap/analyze/frame"
)

const (
	minStandstill = int64(30 * 60e9) // ns; after so long a stop pipe and standing gas have the same temperature
	equalWithin   = 0.2e5            // Pa between discharge and suction
)

// suctionGroup describes a suction group and makes its equalised check: stopped for
// half an hour with equal pressures, the pipe and the dew of the standing
// pressure agree, as far as there is liquid.
func (j *judge) suctionGroup(i int) Group {
	t, g := j.track, &j.track.site.Groups[i]
	d := g.Detect.WithDefaults()
	out := Group{
		Name: g.Name, Refrigerant: g.Refrigerant.Name, Steady: float64(d.Floor.Steady), Pulldown: float64(d.Floor.Pulldown),
		Equalised: notRecorded("equalised", "the group never stood for half an hour with equal pressures while this was recorded"),
	}
	if t.groups[i].discharge < 0 {
		out.Equalised.Text = "no discharge pressure is recorded: whether the group stood equalised cannot be told"
	}
	begun := -1
	for row := range t.at {
		if !t.isEqualised(i, row) || row > 0 && t.at[row]-t.at[row-1] > int64(maxGap) {
			begun = -1
			continue
		}
		if begun < 0 {
			begun = row
		}
		if t.at[row]-t.at[begun] >= minStandstill {
			out.Equalised = j.equalised(i, row)
		}
	}
	return out
}

// isEqualised reports whether all compressors of a group are off and its pressures equal.
func (t *Track) isEqualised(group, row int) bool {
	if !(math.Abs(float64(t.groups[group].apart[row])) <= equalWithin) {
		return false
	}
	for i := range t.machines {
		if m := &t.machines[i]; m.group == group && m.phase[row] != frame.Off {
			return false
		}
	}
	return true
}

// equalised compares pipe and dew at one row; the worst compressor counts.
func (j *judge) equalised(group, row int) Check {
	worst, allowed, name := math.NaN(), math.NaN(), ""
	for i := range j.track.machines {
		m := &j.track.machines[i]
		if m.group != group || !known(m.pipe[row]) || !known(m.dew[row]) {
			continue
		}
		if d := math.Abs(float64(m.pipe[row] - m.dew[row])); !(d <= worst) {
			worst, allowed, name = d, float64(m.uncertainty[row]), m.name
		}
	}
	if math.IsNaN(worst) || math.IsNaN(allowed) {
		return notRecorded("equalised", "the group stood equalised, but pressure or pipe temperature is not known")
	}
	return j.check("equalised", worst <= allowed, worst, allowed, "K",
		"stopped and equalised at "+j.view.Stamp(instant(j.track.at[row]))+", "+name+"'s pipe and the dew of the standing pressure differ by "+j.kelvin(worst)+"; the uncertainty is "+j.kelvin(allowed))
}
