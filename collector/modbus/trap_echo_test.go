package modbus

import (
	"testing"
	"time"

	"dewgap/collector/register"
	"dewgap/simulators/devices"
)

// TestTrap09EchoThatLooksLikeAnAnswer: a request for 17 to 24 bits at 0x03xx
// has the form of an answer with three bytes of data, check sum and all. On a
// two-wire line that echoes it must not become one.
func TestTrap09EchoThatLooksLikeAnAnswer(t *testing.T) {
	var points []Point
	for i := range uint16(20) {
		points = append(points, Point{Unit: 1, Table: Discrete, Address: 0x0311 + i, Bit: -1, Mapping: register.Mapping{Type: register.Bit}})
	}
	onRig(t, Settings{Transport: RTU, Points: numbered(points...), Serial: testSerial, Name: "echo"}, func(r *rig) {
		if good, faults := r.pass(time.Minute); good < 220 || len(faults) != 0 { // pass compares with the truth
			t.Errorf("%d good, %v", good, faults)
		}
		r.server.Set(devices.ModbusFault{Kind: devices.Silent})
		r.pass(10 * time.Second)
		if good, faults := r.pass(10 * time.Minute); good != 0 || has(faults, "timeout") == 0 {
			t.Errorf("a dead device behind an echo: %d good, %v", good, faults)
		}
	})
}
