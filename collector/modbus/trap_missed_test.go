package modbus

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/simulators/devices"
)

// TestTrap53EveryMissedReadIsAFailure: whatever keeps values away, a point gets a
// failure at the rate that it has, so that who counts three of them is in time.
func TestTrap53EveryMissedReadIsAFailure(t *testing.T) {
	const period, timeout = 2 * time.Second, time.Second
	for name, breaks := range map[string]func(*rig){
		"a silent unit": func(r *rig) {
			r.server.Choose(func(devices.ModbusRequest) devices.ModbusFault { return devices.ModbusFault{Kind: devices.Silent} })
		},
		"one silent unit of two": func(r *rig) {
			r.server.Choose(func(q devices.ModbusRequest) devices.ModbusFault {
				if q.Unit == 1 {
					return devices.ModbusFault{}
				}
				return devices.ModbusFault{Kind: devices.Silent}
			})
		},
		"a gateway that answers late": func(r *rig) {
			r.server.Choose(func(devices.ModbusRequest) devices.ModbusFault {
				return devices.ModbusFault{Kind: devices.Late, Delay: timeout + timeout/2}
			})
		},
		"nobody listens": func(r *rig) {
			r.refuse.Store(refusal{errors.New("connection refused")})
			r.server.Choose(func(devices.ModbusRequest) devices.ModbusFault { return devices.ModbusFault{Kind: devices.Close} })
		},
	} {
		t.Run(name, func(t *testing.T) {
			onRig(t, Settings{Period: period, Timeout: timeout, Points: numbered(hundredths(1, Holding, 10), hundredths(2, Holding, 10))}, func(r *rig) {
				r.pass(time.Minute)
				breaks(r)
				const dead = 10 * time.Minute
				<-time.After(dead)
				synctest.Wait()
				count, last, longest := 0, time.Time{}, time.Duration(0)
				for _, got := range r.take() {
					if got.Point != 1 {
						continue
					}
					if !last.IsZero() {
						longest = max(longest, got.Time.Sub(last))
					}
					last = got.Time
					count++
				}
				if want := int(dead/period) - 2; count < want || longest > period+timeout {
					t.Errorf("%d readings, want %d; the longest gap is %v", count, want, longest)
				}
			})
		})
	}
}
