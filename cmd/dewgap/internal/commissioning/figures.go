package commissioning

import (
	"math"

	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/config"
)

// figures are what one compressor showed over the rows of a cycle.
type figures struct {
	running, known, suspect, unknown float64 // s
	lowest, uncertainty              float64 // K, at row lowestRow
	lowestRow                        int
	above                            float64 // lowest superheat − U
	margin                           float64
	lowestFloor                      float64 // that held at row lowestRow
	impliedFloor                     float64 // that held at the greatest shortfall
	below, dose, longest             float64 // s, K·s, s
	dips                             int     // times below the floor with a recovery between
	started, startWet                float64 // s of phase start; of it with superheat at dew
	sump                             float64 // lowest over dew
	learned                          bool
	shortfall, short                 float64 // K; s beyond what is allowed
	after                            float64 // s of running after the restart, superheat known
}

func (t *Track) figures(m *machineTrack, c cycle, rules config.Commissioning) figures {
	nan := math.NaN()
	f := figures{lowest: nan, uncertainty: nan, above: nan, margin: nan, lowestFloor: nan, impliedFloor: nan, sump: nan, shortfall: nan}
	clear := t.site.Groups[m.group].Detect
	resumed := c.span.Resumed
	dip, dry := 0.0, math.Inf(1)
	for i := c.from; i <= c.to; i++ {
		dt := t.lasts(i)
		switch m.phase[i] {
		case frame.Off:
			continue
		case frame.Unknown:
			f.unknown += dt
			continue
		case frame.Start:
			f.started += dt
			if over := float64(m.superheat[i] - m.uncertainty[i]); over < float64(rules.OverUncertainty) {
				f.startWet += dt
			}
			continue
		}
		f.running += dt
		if s := float64(m.sumpOver[i]); !(s >= f.sump) && s == s {
			f.sump = s
		}
		if s := float64(m.shortfall[i]); !math.IsInf(s, -1) {
			f.learned = true
			if !(s <= f.shortfall) && s == s {
				f.shortfall, f.impliedFloor = s, float64(m.floor[i])
			}
			if s > float64(rules.Discharge) {
				f.short += dt
			}
		}
		superheat := float64(m.superheat[i])
		if math.IsNaN(superheat) {
			dip = 0
			continue
		}
		if m.quality[i] == reading.Suspect {
			f.suspect += dt
		}
		f.known += dt
		if resumed != 0 && t.at[i] >= resumed {
			f.after += dt
		}
		if !(superheat >= f.lowest) {
			f.lowest, f.uncertainty, f.lowestRow, f.lowestFloor = superheat, float64(m.uncertainty[i]), i, float64(m.floor[i])
		}
		// Both are rounded first, so that the figures in the record add up.
		if a := tenth(superheat) - tenth(float64(m.uncertainty[i])); !(a >= f.above) {
			f.above = a
		}
		margin := superheat - float64(m.floor[i])
		if !(margin >= f.margin) {
			f.margin = margin
		}
		switch {
		case margin < 0:
			if dry >= clear.ClearHold.Seconds() {
				f.dips++
			}
			dry = 0
			f.below += dt
			f.dose -= margin * dt
			dip += dt
			f.longest = max(f.longest, dip)
		case margin > float64(clear.ClearMargin):
			dry += dt
			dip = 0
		default:
			dip = 0
		}
	}
	return f
}

func tenth(x float64) float64 { return math.Round(10*x) / 10 }

// steadyFigures are what one compressor showed in steady running.
type steadyFigures struct {
	seconds, below float64
	uncertainty    float64 // mean, K
	floor          float64
	from, to       int // rows
}

// maxBack bounds the search for steady running, ns: half a day before, a store
// runs at another load.
const maxBack = int64(12 * 3600e9)

// steady gathers steady running next to a cycle: before it, and after it for
// what is lacking.
func (t *Track) steady(m *machineTrack, c cycle, want float64) steadyFigures {
	s := steadyFigures{from: c.from, to: c.to, uncertainty: math.NaN(), floor: math.NaN()}
	sum := 0.0
	take := func(i int) {
		if m.phase[i] != frame.Steady || !known(m.superheat[i]) {
			return
		}
		dt := t.lasts(i)
		s.seconds += dt
		sum += dt * float64(m.uncertainty[i])
		s.floor = float64(m.floor[i])
		if m.superheat[i] < m.floor[i] {
			s.below += dt
		}
	}
	for i := c.from - 1; i >= 0 && s.seconds < want && t.at[c.from]-t.at[i] < maxBack; i-- {
		take(i)
		s.from = i
	}
	for i := c.to + 1; i < len(t.at) && s.seconds < want && t.at[i]-t.at[c.to] < maxBack; i++ {
		take(i)
		s.to = i
	}
	if s.seconds > 0 {
		s.uncertainty = sum / s.seconds
	}
	return s
}
