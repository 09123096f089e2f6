package store

import (
	"fmt"
	"strings"
	"time"

	"dewgap/simulators/plant"
)

// Location is where the configured daemon listens and keeps its files.
type Location struct {
	Listen string
	Data   string
}

// Config returns the configuration with which the ordinary daemon reads this
// store. Times in it are those of the daemon's clock: at a speed of 10 a hold
// of 60 s has become 6 s.
func (s *Store) Config(place Location) []byte {
	d := s.plant.Description()
	var b strings.Builder
	fmt.Fprintf(&b, `# The invented store of scenario %q, as the daemon reads it.
`, d.Name)
	if s.Speed != 1 {
		fmt.Fprintf(&b, `# The plant lives %g times as fast as the daemon's clock: holds, lags and periods
# are that much shorter than on a real site.
`, s.Speed)
	}
	fmt.Fprintf(&b, `[site]
name = %q
altitude = "0 m"
units = "si"
simulated = true

[daemon]
listen = %q
data = %q
sample = %q
`, d.Site, place.Listen, place.Data, s.scaled(time.Second, 100*time.Millisecond))
	wired, published := s.sourcesUsed(d)
	if wired {
		fmt.Fprintf(&b, "\n[[modbus]]\nname = %q\n", controller)
		if s.Via == ByRTU {
			fmt.Fprintf(&b, "serial = %q\nbaud = 115200\nparity = \"none\"\n", s.LineName())
		} else {
			fmt.Fprintf(&b, "address = %q\n", s.ModbusAddress())
		}
		fmt.Fprintf(&b, "timeout = \"1 s\"\nperiod = %q\n", s.scaled(2*time.Second, 200*time.Millisecond))
	}
	if published {
		fmt.Fprintf(&b, "\n[[mqtt]]\nname = %q\nurl = \"tcp://%s\"\n", gateway, s.Broker.Address())
	}
	for _, g := range d.Groups {
		fmt.Fprintf(&b, `
[[suction_group]]
name = %q
refrigerant = %q
floor = { steady = "11 K", pulldown = "8 K" }
hold = { steady = %q, pulldown = %q }
clear = { margin = "2 K", hold = %q }
temperature_sensor = { accuracy = "0.5 K", lag = %q, mounting = "1.5 K" } # insulated clamps
`, g.Name, g.Refrigerant, s.scaled(time.Minute, 0), s.scaled(30*time.Second, 0), s.scaled(2*time.Minute, 0), s.scaled(20*time.Second, 0))
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

// Names of the sources.
const (
	controller = "rack-controller"
	gateway    = "gateway"
)

// scaled writes a time of the plant as one of the reader's clock.
func (s *Store) scaled(d, least time.Duration) string {
	d = max(time.Duration(float64(d)/max(s.Speed, 1)).Round(10*time.Millisecond), least, 10*time.Millisecond)
	return fmt.Sprintf("%g s", d.Seconds())
}

// sourcesUsed returns which sources the configuration needs: Modbus, MQTT.
func (s *Store) sourcesUsed(d plant.Description) (wired, published bool) {
	for i := range d.Groups {
		if s.byMQTT(i) {
			published = true
		} else {
			wired = true
		}
	}
	return
}

func (s *Store) byMQTT(group int) bool {
	return s.Via == ByMQTT || s.Via == Mixed && group%2 == 1
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
	if s.byMQTT(a.group) {
		unit := map[plant.Kind]string{plant.Pressure: `, unit = "bara"`, plant.Temperature: `, unit = "degC"`}[kind]
		return fmt.Sprintf(`mqtt = %q, topic = %q, value = "/value", time = "/time"%s%s`, gateway, a.topic, unit, accuracy)
	}
	at := fmt.Sprintf(`modbus = %q, unit_id = %d`, controller, a.cell.unit)
	switch kind {
	case plant.Switch:
		return fmt.Sprintf("%s, discrete = %d", at, a.cell.address)
	case plant.Pressure:
		return fmt.Sprintf(`%s, input = %d, type = "int16", scale = 0.001, unit = "bara", sentinel = [32767]%s`, at, a.cell.address, accuracy)
	default:
		return fmt.Sprintf(`%s, input = %d, type = "int16", scale = 0.1, unit = "degC", sentinel = [32767]`, at, a.cell.address)
	}
}
