package sensorcheck

import (
	"math"
	"strconv"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// explains reports whether a mistake put right leaves an input in order.
func (h *hypothesis) explains() bool {
	return !h.refuted && h.weight > 0 && h.right <= maxRight && h.wrong >= minWrong && h.wrong-h.right >= minGain
}

// logLikelihood of a mistake, up to a constant.
func (h *hypothesis) logLikelihood() float64 { return -h.prior - perViolation*h.right - h.strange }

// nameMistake raises the mistake that explains target i best, where it cannot
// be right as it is read.
func (c *Checker) nameMistake(i int, x *frame.Frame) {
	l := &c.ledger
	d, t := &l.open[i], l.targets[i]
	doubtful := d.isDoubtful(t.kind)
	if !doubtful && d.named < 0 {
		return
	}
	best, total := -1, 0.0
	for j := range l.hypotheses {
		h := &l.hypotheses[j]
		if h.target.point != t.point || !h.explains() {
			continue
		}
		total += math.Exp(h.logLikelihood())
		if best < 0 || h.logLikelihood() > l.hypotheses[best].logLikelihood() {
			best = j
		}
	}
	if d.named >= 0 {
		h := &l.hypotheses[d.named]
		if h.refuted || h.wrong < ledgerForgives {
			d.named = -1
		}
	}
	if d.named < 0 {
		if d.trusted || best < 0 || !doubtful || math.Exp(l.hypotheses[best].logLikelihood())/total < namedShare || !c.isCulprit(i, best) {
			return
		}
		d.named = best
		l.startAnew(t.point)
	}
	h := &l.hypotheses[d.named]
	m := h.misconfiguration(&l.now, l.targets)
	m.Share = 1
	if total > 0 && h.explains() {
		m.Share = math.Exp(h.logLikelihood()) / total
	}
	l.named = append(l.named, m)
	code := evidence.Misconfigured
	if t.kind == suctionPressure || t.kind == dischargePressure {
		code = evidence.PressureMisconfigured
	}
	if a := c.raise(code, t.point, m.Bias, x.At); a != nil {
		a.Conclusive = true
		c.describeMistake(a, &m)
	}
}

// startAnew forgets what was found about all inputs but the one at point, which
// is known to be wrong from now on.
func (l *ledger) startAnew(point int) {
	for i := range l.hypotheses {
		if h := &l.hypotheses[i]; h.target.point != point {
			h.wrong, h.right, h.strange, h.weight, h.against, h.refuted = 0, 0, 0, 0, 0, false
		}
	}
	for i := range l.open {
		if l.targets[i].point != point {
			l.open[i].impossible, l.open[i].held, l.open[i].unusual = false, 0, 0
		}
	}
}

// isCulprit reports whether of all inputs that are in the laws that cannot hold
// this one explains them best: what is wrong with one input shows in the laws of
// its neighbours.
func (c *Checker) isCulprit(i, best int) bool {
	l := &c.ledger
	own := &l.hypotheses[best]
	for j := range l.hypotheses {
		h := &l.hypotheses[j]
		if h.target.point == l.targets[i].point || !h.explains() || !l.isDoubtful(h.target.point) {
			continue
		}
		// A mistake that takes away more violations explains more.
		if (h.wrong-h.right)-(own.wrong-own.right) > minGain/2 || h.logLikelihood() > own.logLikelihood() && h.wrong-h.right >= own.wrong-own.right-minGain/2 {
			return false
		}
	}
	return true
}

// isDoubtful reports whether the input at a point cannot be right.
func (l *ledger) isDoubtful(point int) bool {
	for i := range l.targets {
		if l.targets[i].point == point {
			return l.open[i].impossible || l.open[i].isDoubtful(l.targets[i].kind) || l.open[i].named >= 0
		}
	}
	return false
}

// explainsPressure reports whether a mistake about a pressure is named: what it
// does to its neighbours is no finding of its own.
func (l *ledger) explainsPressure() bool {
	for i := range l.open {
		if k := l.targets[i].kind; l.open[i].named >= 0 && (k == suctionPressure || k == dischargePressure) {
			return true
		}
	}
	return false
}

// misconfiguration returns a hypothesis as callers see it.
func (h *hypothesis) misconfiguration(q *quantities, targets []target) Misconfiguration {
	m := Misconfiguration{Point: h.target.point, Other: noOther, Kind: h.code, Remedy: h.remedy, Shown: q.of(h.target)}
	if h.remap == nil {
		m.Other = targets[h.other].point
		m.Right = q.of(targets[h.other])
		m.Remedy = Remedy{Key: "exchange"}
	} else {
		m.Right = h.remap(m.Shown)
	}
	m.Bias = biasOf(m.Shown - m.Right)
	return m
}

// describeMistake sets the message about a mistake.
func (c *Checker) describeMistake(a *Anomaly, m *Misconfiguration) {
	values := []evidence.Value{evidence.Part("likely", m.Kind)}
	switch {
	case a.Code == evidence.PressureMisconfigured:
		values = append(values, evidence.Pressure("reads", units.Pascal(m.Shown)), evidence.Temperature("corrected_dew", c.dewOf(units.Pascal(m.Right))))
	default:
		values = append(values, evidence.Temperature("reads", units.Celsius(m.Shown)), evidence.Temperature("corrected_line", units.Celsius(m.Right)))
	}
	switch m.Remedy.Key {
	case "exchange":
		values = append(values, evidence.Part("remedy", evidence.RemedyExchange))
	case "scale":
		values = append(values, evidence.Part("remedy", evidence.RemedyScale), evidence.Name("becomes", strconv.FormatFloat(m.Remedy.Factor, 'g', -1, 64)))
	case "type":
		values = append(values, evidence.Part("remedy", evidence.RemedyType), evidence.Name("becomes", m.Remedy.Value))
	default:
		values = append(values, evidence.Part("remedy", evidence.RemedyUnit), evidence.Name("becomes", m.Remedy.Value))
	}
	a.describe(values)
}

// Misconfigurations returns the mistakes that explain inputs which cannot be
// right, the likeliest first; the slice is valid until the next Observe.
func (c *Checker) Misconfigurations() []Misconfiguration { return c.ledger.named }
