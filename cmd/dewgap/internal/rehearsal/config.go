package rehearsal

import (
	"fmt"
	"strings"

	"dewgap/simulators/plant"
)

// Place says where the configured daemon listens and keeps its files.
type Place struct {
	Listen string
	Data   string
}

// Config returns the configuration with which the ordinary daemon reads this
// store.
func (s *Store) Config(place Place) []byte {
	d := s.plant.Description()
	var b strings.Builder
	fmt.Fprintf(&b, `# The invented store of scenario %q, as the daemon reads it: one group over
# Modbus TCP, the next through an MQTT broker.
[site]
name = %q
altitude = "0 m"
units = "si"

[daemon]
listen = %q
data = %q
sample = "1 s"

[[modbus]]
name = "rack-controller"
address = %q
timeout = "1 s"
period = "2 s"
`, d.Name, d.Site, place.Listen, place.Data, s.ModbusAddress())
	if s.published() {
		fmt.Fprintf(&b, "\n[[mqtt]]\nname = \"gateway\"\nurl = \"tcp://%s\"\n", s.Broker.Address())
	}
	for _, g := range d.Groups {
		fmt.Fprintf(&b, `
[[suction_group]]
name = %q
refrigerant = %q
floor = { steady = "11 K", pulldown = "8 K" }
hold = { steady = "60 s", pulldown = "30 s" }
clear = { margin = "2 K", hold = "120 s" }
temperature_sensor = { accuracy = "0.5 K", lag = "20 s", mounting = "1.5 K" } # insulated clamps
`, g.Name, g.Refrigerant)
		s.inputsOf(&b, g.Name+".", "")
		for _, c := range g.Compressors {
			fmt.Fprintf(&b, "\n  [[suction_group.compressor]]\n  name = %q\n  kind = %q\n", c.Name, c.Kind)
			s.inputsOf(&b, g.Name+"."+c.Name+".", "  ")
		}
		for _, c := range g.Circuits {
			fmt.Fprintf(&b, "\n  [[suction_group.circuit]]\n  name = %q\n  defrost_kind = %q\n", c.Name, c.Defrost.Kind)
			s.inputsOf(&b, g.Name+"."+c.Name+".", "  ")
		}
	}
	return []byte(b.String())
}

func (s *Store) published() bool {
	for _, a := range s.address {
		if a.topic != "" {
			return true
		}
	}
	return false
}

// inputsOf writes the inputs whose path is prefix and one more word.
func (s *Store) inputsOf(b *strings.Builder, prefix, indent string) {
	for i, in := range s.inputs {
		role, ok := strings.CutPrefix(in.Path, prefix)
		if !ok || strings.Contains(role, ".") {
			continue
		}
		fmt.Fprintf(b, "%s%s = { %s }\n", indent, role, s.sourceOf(i))
	}
}

func (s *Store) sourceOf(i int) string {
	a, kind := s.address[i], s.inputs[i].Kind
	accuracy := ""
	if kind == plant.Pressure {
		accuracy = `, accuracy = "0.07 bar"`
	}
	if a.topic != "" {
		unit := map[plant.Kind]string{plant.Pressure: `, unit = "bara"`, plant.Temperature: `, unit = "degC"`}[kind]
		return fmt.Sprintf(`mqtt = "gateway", topic = %q, value = "/value", time = "/time"%s%s`, a.topic, unit, accuracy)
	}
	at := fmt.Sprintf(`modbus = "rack-controller", unit_id = %d`, a.cell.unit)
	switch kind {
	case plant.Switch:
		return fmt.Sprintf("%s, discrete = %d", at, a.cell.address)
	case plant.Pressure:
		return fmt.Sprintf(`%s, input = %d, type = "int16", scale = 0.001, unit = "bara", sentinel = [32767]%s`, at, a.cell.address, accuracy)
	default:
		return fmt.Sprintf(`%s, input = %d, type = "int16", scale = 0.1, unit = "degC", sentinel = [32767]`, at, a.cell.address)
	}
}
