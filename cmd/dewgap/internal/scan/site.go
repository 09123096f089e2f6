package scan

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"dewgap/analyze/units"
	"dewgap/collector/register"
)

// Source is how the site file reaches the device.
type Source struct {
	Name    string // of the source in the file
	Address string // HOST:PORT; empty for a broker
	RTU     bool   // RTU frames over TCP
	URL     string // of a broker
}

// fillIn marks the lines of a site file that a person completes.
const fillIn = "# FILL IN: "

// SiteFile returns a site file to begin with: the likeliest inputs where they
// belong, all others as comments, and every line that a person has to complete
// marked.
func SiteFile(src Source, found []Found, system units.System) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("# Proposed by dewgap scan from how the numbers look and move. Compare every")
	line("# input with the device's register list, then complete the lines marked FILL IN")
	line("# and run: dewgap check --config FILE --live")
	line("[site]")
	line("name = \"site\"                # FILL IN: name of the store")
	line("altitude = \"FILL IN\"         %ssuch as \"120 m\"", fillIn)
	line("units = %q", system.String())
	line("")
	if src.URL != "" {
		line("[[mqtt]]\nname = %q\nurl = %q", src.Name, src.URL)
	} else {
		line("[[modbus]]\nname = %q\naddress = %q", src.Name, src.Address)
		if src.RTU {
			line(`framing = "rtu"`)
		}
	}
	chosen := choose(found)
	line("")
	line("[[suction_group]]")
	line("name = \"mt\"                  # FILL IN: mt, lt or what you call it")
	line("refrigerant = \"FILL IN\"      %ssee the label; dewgap refrigerants lists them", fillIn)
	write := func(indent string, role Role, must bool) {
		i, ok := chosen[role]
		switch {
		case ok:
			note := "likely by its size; compare it with a gauge or thermometer"
			if found[i].Why != "" {
				note = found[i].Why
			}
			if role == SuctionPressure || role == DischargePressure {
				note += "; gauge or absolute?"
			}
			line("%s%s = { %s }  %s%s", indent, role, found[i].Input(src, &found[i].Readings[0]), fillIn, note)
		case must:
			line("%s# %s = { … }  %snothing that was read looks like it", indent, role, fillIn)
		}
	}
	write("", SuctionPressure, true)
	write("", DischargePressure, false)
	line("")
	line("  [[suction_group.compressor]]\n  name = \"c1\"")
	write("  ", SuctionTemperature, true)
	write("  ", DischargeTemperature, false)
	write("  ", Running, false)
	line("")
	line("  [[suction_group.circuit]]\n  name = \"case-1\"")
	var rest []int
	for i := range found {
		if !slices.ContainsFunc(valuesOf(chosen), func(c int) bool { return c == i }) {
			rest = append(rest, i)
		}
	}
	if len(rest) > 0 {
		line("\n# What else was found: move a line to its compressor or circuit under the name of")
		line("# its role, such as air_temperature = { … }.")
	}
	for _, i := range rest {
		f := &found[i]
		for n := range f.Readings {
			r := &f.Readings[n]
			lead := "or"
			if n == 0 {
				lead = f.Name() + ":"
			}
			line("# %s %s { %s }", lead, r, f.Input(src, r))
		}
	}
	return b.String()
}

func valuesOf(m map[Role]int) (all []int) {
	for _, i := range m {
		all = append(all, i)
	}
	return all
}

// choose returns the likeliest place of each role: by its movement, else by its
// size, for what a site cannot do without.
func choose(found []Found) map[Role]int {
	chosen := map[Role]int{}
	var pressures, lines []int
	for i := range found {
		f := &found[i]
		if len(f.Readings) == 0 {
			continue
		}
		if _, taken := chosen[f.Role]; f.Role != NoRole && !taken {
			chosen[f.Role] = i
			continue
		}
		switch r := &f.Readings[0]; {
		case f.Role != NoRole:
		case r.Kind == Pressure:
			pressures = append(pressures, i)
		case r.Kind == Temperature && r.Unit.SI(r.Last()) <= usualWarm:
			lines = append(lines, i)
		}
	}
	value := func(i int) float64 { r := &found[i].Readings[0]; return r.Unit.SI(r.Last()) }
	slices.SortStableFunc(pressures, func(a, b int) int {
		if value(a) < value(b) {
			return -1
		}
		return 1
	})
	if _, ok := chosen[SuctionPressure]; !ok && len(pressures) > 0 {
		chosen[SuctionPressure], pressures = pressures[0], pressures[1:]
	}
	if _, ok := chosen[DischargePressure]; !ok && len(pressures) > 0 {
		chosen[DischargePressure] = pressures[len(pressures)-1]
	}
	if _, ok := chosen[SuctionTemperature]; !ok && len(lines) > 0 {
		chosen[SuctionTemperature] = lines[0]
	}
	return chosen
}

// Input returns the keys of an input that reads the place so.
func (f *Found) Input(src Source, r *Reading) string {
	var keys []string
	add := func(format string, args ...any) { keys = append(keys, fmt.Sprintf(format, args...)) }
	if f.Topic != "" {
		add("mqtt = %q", src.Name)
		add("topic = %q", f.Topic)
		if f.Pointer != "" {
			add("value = %q", f.Pointer)
		}
		if f.Time != "" {
			add("time = %q", f.Time)
		}
	} else {
		add("modbus = %q", src.Name)
		add("unit_id = %d", f.Unit)
		add("%s = %d", f.Table, f.Address)
		if r.Type != register.Bit {
			add("type = %q", r.Type.String())
		}
		if r.Order != register.NoOrder {
			add("order = %q", r.Order.String())
		}
		if r.Scale != 1 {
			add("scale = %s", strconv.FormatFloat(r.Scale, 'g', -1, 64))
		}
	}
	switch {
	case r.Unit.Known():
		add("unit = %q", r.Unit.Name)
	case f.Topic == "" && r.Type != register.Bit:
		add(`unit = "bool"`)
	}
	return strings.Join(keys, ", ")
}

// String is the reading with its value, for a person.
func (r *Reading) String() string {
	if r.Kind == Switch {
		if r.Last() != 0 {
			return "switch, on"
		}
		return "switch, off"
	}
	digits := 1
	if r.Unit == barg {
		digits = 2
	}
	text := fmt.Sprintf("%s %.*f %s", r.Kind, digits, r.Last(), r.Unit.Name)
	how := ""
	if r.Type != 0 {
		how = r.Type.String()
	}
	if r.Order != register.NoOrder {
		how += " " + r.Order.String()
	}
	if r.Scale != 1 {
		how += " × " + strconv.FormatFloat(r.Scale, 'g', -1, 64)
	}
	if how != "" {
		text += " (" + how + ")"
	}
	return text
}

// Table writes what was found for a person, a place a line.
func Table(found []Found) string {
	var b strings.Builder
	width := 0
	for i := range found {
		width = max(width, len(found[i].Name()))
	}
	for i := range found {
		f := &found[i]
		var raw []string
		for _, w := range f.Raw {
			raw = append(raw, fmt.Sprintf("0x%04X", w))
		}
		fmt.Fprintf(&b, "%-*s  %-14s", width, f.Name(), strings.Join(raw, " "))
		for n := range f.Readings {
			if n > 0 {
				b.WriteString("; or")
			}
			b.WriteString(" " + f.Readings[n].String())
		}
		if low, high := bounds(f.Readings[0].Series); low != high && f.Readings[0].Kind != Switch {
			fmt.Fprintf(&b, "; moved %.2f to %.2f", low, high)
		}
		if f.Role != NoRole {
			fmt.Fprintf(&b, "; looks like %s", strings.ReplaceAll(string(f.Role), "_", " "))
		}
		if f.Why != "" {
			b.WriteString(": " + f.Why)
		}
		b.WriteString("\n")
	}
	return b.String()
}
