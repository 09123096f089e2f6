package config

import (
	"fmt"
	"maps"
	"slices"

	"dewgap/analyze/reading"
	"dewgap/analyze/suggest"
	"dewgap/collector/register"
)

// source is a bus or broker while the file is read: at most one of its two
// indices is ≥ 0.
type source struct {
	table       *table
	bus, broker int // index in the configuration's list; -1 when it is the other
	used        bool
}

// readSources reads the busses and brokers, whose names share one space: a
// metric's label source knows no kind.
func (b *builder) readSources(root *table) {
	b.sources = make(map[string]*source)
	taken := make(names)
	for _, t := range root.inners("modbus", "[[modbus]]") {
		s := &source{table: t, bus: len(b.config.Modbus), broker: -1}
		b.addSource(taken.take(t, "source", "rack-io"), s)
		b.config.Modbus = append(b.config.Modbus, b.bus(t))
	}
	for _, t := range root.inners("mqtt", "[[mqtt]]") {
		s := &source{table: t, bus: -1, broker: len(b.config.MQTT)}
		b.addSource(taken.take(t, "source", "broker"), s)
		b.config.MQTT = append(b.config.MQTT, b.broker(t))
	}
}

func (b *builder) addSource(name string, s *source) {
	b.order = append(b.order, s)
	if name != "" {
		b.sources[name] = s
	}
}

// find returns the source that an input names.
func (b *builder) find(t *table, key, name string, bus bool) *source {
	s := b.sources[name]
	switch {
	case s == nil:
		known := slices.Sorted(maps.Keys(b.sources))
		remedy := fmt.Sprintf("define it: [[%s]] with name = %q", key, name)
		if near := suggest.Nearest(name, known); near != "" {
			remedy = fmt.Sprintf("did you mean %q?", near)
		}
		t.fault(key, fmt.Sprintf("%q is not defined", name), remedy)
		return nil
	case bus != (s.bus >= 0):
		other := "mqtt"
		if !bus {
			other = "modbus"
		}
		t.fault(key, fmt.Sprintf("%q is a source under [[%s]]", name, other), fmt.Sprintf("write %s = %q", other, name))
		return nil
	}
	s.used = true
	return s
}

// finishSources checks what only all inputs together show.
func (b *builder) finishSources() {
	for _, s := range b.order {
		if !s.used {
			s.table.warn("", "is defined and no input names it", "name it in an input, or take it out")
		}
		if s.bus >= 0 && s.used {
			b.load(s.table, &b.config.Modbus[s.bus])
		}
	}
	if len(b.order) == 0 {
		b.unready = append(b.unready, Fault{File: b.file, Line: 1, Problem: "there is no source", Remedy: "add [[modbus]] or [[mqtt]] and name it in the inputs"})
	}
}

// meaning of a number on the wire, to find two inputs that read the same
// number and take it for different things.
type meaning struct {
	path    string
	kind    reading.Kind
	mapping register.Mapping
}

func (a meaning) contradicts(b meaning) bool {
	m, n := a.mapping, b.mapping
	return a.kind != b.kind || m.Type != n.Type || m.Order != n.Order || m.Scale != n.Scale || m.Offset != n.Offset ||
		m.Signal != n.Signal || m.Low != n.Low || m.High != n.High || m.Unit != n.Unit
}
