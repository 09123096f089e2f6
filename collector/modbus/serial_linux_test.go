package modbus

import "testing"

// Every speed that a configuration may ask for is one that the driver takes.
func TestSpeedsHaveBits(t *testing.T) {
	for baud := range speeds {
		if speedBits[baud] == 0 {
			t.Errorf("%d baud has no bits for the driver", baud)
		}
	}
	if len(speeds) != len(speedBits) {
		t.Errorf("%d speeds, %d with bits", len(speeds), len(speedBits))
	}
}
