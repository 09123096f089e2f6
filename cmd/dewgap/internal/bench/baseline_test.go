package bench

import (
	"math"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// plain is the detector that a site would write in an afternoon: raw superheat
// against the floor with hold and clear times, running and defrost from their
// signals, a pulldown of half an hour by the clock. The analysis has to be
// worth more than this.
type plain struct {
	points []reading.Point
	value  []float64
	groups []plainGroup
	events []alert.Event
}

type plainGroup struct {
	name     string
	fluid    *refrigerant.Fluid
	pressure int
	circuits []plainCircuit
	machines []plainMachine
}

type plainCircuit struct {
	name    string
	defrost int // point, −1 when there is none
	on      bool
	ended   time.Time
}

type plainMachine struct {
	name         string
	temperature  int
	running      int
	floor        floodback.ByPhase[float64]
	on           bool
	began, ended time.Time // of running
	phase        frame.Phase
	below, clear time.Time // since when
	open         int       // event, −1
}

const plainPulldown = 30 * time.Minute

func newPlain(site analyze.Site) *plain {
	p := &plain{points: site.Points, value: make([]float64, len(site.Points))}
	for i := range p.value {
		p.value[i] = math.NaN()
	}
	find := func(group, member string, role reading.Role) int {
		for i, pt := range site.Points {
			if pt.Group == group && pt.Member == member && pt.Role == role {
				return i
			}
		}
		return -1
	}
	floor := floors(site)
	for _, g := range site.Groups {
		pg := plainGroup{name: g.Name, fluid: g.Refrigerant, pressure: find(g.Name, "", reading.SuctionPressure)}
		for _, c := range g.Circuits {
			pg.circuits = append(pg.circuits, plainCircuit{name: c.Name, defrost: find(g.Name, c.Name, reading.Defrost)})
		}
		for _, c := range g.Compressors {
			pg.machines = append(pg.machines, plainMachine{name: c.Name, open: -1, floor: floor[0], on: true,
				temperature: find(g.Name, c.Name, reading.SuctionTemperature), running: find(g.Name, c.Name, reading.Running)})
			floor = floor[1:]
		}
		p.groups = append(p.groups, pg)
	}
	return p
}

func (p *plain) step(row *reading.Row) {
	for _, r := range row.Readings {
		if r.Quality == reading.Good {
			p.value[r.Point] = r.Value
		}
	}
	for i := range p.groups {
		g := &p.groups[i]
		defrosting, pulling, latest := false, false, ""
		var ended time.Time
		for j := range g.circuits {
			c := &g.circuits[j]
			if c.defrost < 0 {
				continue
			}
			on := p.value[c.defrost] > 0.5
			if c.on && !on {
				c.ended = row.Time
			}
			c.on = on
			defrosting = defrosting || on
			pulling = pulling || !on && !c.ended.IsZero() && row.Time.Sub(c.ended) < plainPulldown
			if latest == "" || c.ended.After(ended) {
				latest, ended = c.name, c.ended
			}
		}
		dew := math.NaN()
		if g.pressure >= 0 && p.value[g.pressure] > 0 {
			if t, err := g.fluid.Dew(units.Pascal(p.value[g.pressure])); err == nil {
				dew = float64(t)
			}
		}
		for j := range g.machines {
			m := &g.machines[j]
			if m.running >= 0 && (p.value[m.running] > 0.5) != m.on {
				if m.on = !m.on; m.on {
					m.began = row.Time
				} else {
					m.ended = row.Time
				}
			}
			switch {
			case !m.on:
				m.phase = frame.Off
			case row.Time.Sub(m.began) < 2*time.Minute && m.began.Sub(m.ended) >= time.Minute:
				m.phase = frame.Start
			case pulling:
				m.phase = frame.Pulldown
			case defrosting:
				m.phase = frame.Defrost
			default:
				m.phase = frame.Steady
			}
			if m.temperature >= 0 {
				p.judge(g, m, row.Time, p.value[m.temperature]-dew, latest)
			}
		}
	}
}

// judge holds a machine's superheat against its floor.
func (p *plain) judge(g *plainGroup, m *plainMachine, at time.Time, superheat float64, latest string) {
	hold := floodback.DefaultSettings().Hold.In(m.phase)
	margin := superheat - m.floor.In(m.phase)
	counts := m.phase != frame.Off && m.phase != frame.Start
	if !(counts && margin < 0) {
		m.below = time.Time{}
	} else if m.below.IsZero() {
		m.below = at
	}
	if counts && !(margin > 2) {
		m.clear = time.Time{}
	} else if m.clear.IsZero() {
		m.clear = at
	}
	switch {
	case m.open < 0 && !m.below.IsZero() && at.Sub(m.below) >= hold:
		cause := "valve_stuck_open"
		if m.phase == frame.Pulldown {
			cause = "load_change_after_defrost"
		}
		m.open = len(p.events)
		p.events = append(p.events, alert.Event{Kind: "floodback", Severity: "risk", Group: g.name, Compressor: m.name, Opened: at, Began: m.below,
			Phase: m.phase.String(), Circuits: []alert.Score{{Name: latest, Score: 1}}, Causes: []alert.Cause{{Cause: cause, Score: 1}}})
	case m.open >= 0 && !m.clear.IsZero() && at.Sub(m.clear) >= 2*time.Minute:
		closed := at
		p.events[m.open].Closed = &closed
		m.open = -1
	}
	if m.open >= 0 && counts {
		switch ev := &p.events[m.open]; {
		case superheat < 0.5:
			ev.Severity = "major"
		case superheat < 2 && ev.Severity == "risk":
			ev.Severity = "minor"
		}
	}
}

func (p *plain) phases() []frame.Phase {
	var out []frame.Phase
	for i := range p.groups {
		for j := range p.groups[i].machines {
			out = append(out, p.groups[i].machines[j].phase)
		}
	}
	return out
}

func (p *plain) finish() []alert.Event { return p.events }
