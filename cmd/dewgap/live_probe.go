package main

import (
	"fmt"
	"strings"

	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/firstlook"
	"dewgap/collector/modbus"
	"dewgap/collector/register"
)

// ofRegister is a single read of a register or bit, with what a technician needs
// to judge it.
func (l *liveCheck) ofRegister(p *modbus.Probe) firstlook.Probe {
	out := firstlook.Probe{
		Where: fmt.Sprintf("unit %d %s %d (%d in manuals)", p.Unit, p.Table, p.Address, p.Reference()),
		Value: p.Value, Quality: p.Quality, Reason: p.Reason,
	}
	if p.Raw != "" {
		out.Raw = "raw " + p.Raw
	}
	if p.Quality == reading.Good && p.Mapping.MayBeSentinel(p.Words) {
		out.Sentinel = strings.ReplaceAll(p.Raw, " ", "")
	}
	if p.Quality == reading.Good {
		return out
	}
	var others []string
	for _, g := range p.Guesses {
		if g.Type == p.Mapping.Type && g.Order == p.Mapping.Order && g.Scale == configuredScale(p.Mapping) {
			continue
		}
		others = append(others, l.guess(p.Index, g))
	}
	if len(others) > 0 {
		out.Notes = append(out.Notes, "the same words could be: "+strings.Join(others, "; "))
	}
	return out
}

func configuredScale(m register.Mapping) float64 {
	if m.Scale == 0 {
		return 1
	}
	return m.Scale
}

func (l *liveCheck) guess(index int, g register.Guess) string {
	text := g.Type.String()
	if g.Order != register.NoOrder {
		text += " " + g.Order.String()
	}
	if g.Scale != 1 {
		text += fmt.Sprintf(" scale %g", g.Scale)
	}
	return text + " = " + firstlook.Value(l.config, index, g.Value)
}
