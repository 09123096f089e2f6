package modbus

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/simulators/devices"
)

// TestLateCyclesAreLoggedOnceAMinute: a bus that is too slow for its period logs
// the first time at once, and then a line a minute with how much was left out.
func TestLateCyclesAreLoggedOnceAMinute(t *testing.T) {
	const minutes = 10
	onRig(t, Settings{Period: time.Second, Points: numbered(hundredths(1, Holding, 10), hundredths(2, Holding, 10))}, func(r *rig) {
		r.server.Choose(func(devices.ModbusRequest) devices.ModbusFault {
			return devices.ModbusFault{Kind: devices.Late, Delay: 700 * time.Millisecond}
		})
		<-time.After(minutes*time.Minute + 30*time.Second)
		synctest.Wait()
		lines := strings.Count(r.log.String(), "cycles late")
		if lines < minutes || lines > minutes+1 {
			t.Errorf("%d lines in %d minutes", lines, minutes)
		}
		if late := r.Status().LateCycles; late < 60*minutes/3 {
			t.Errorf("only %d reads were left out: the bus is not too slow", late)
		}
	})
}
