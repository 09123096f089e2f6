//go:build !linux

package modbus

import (
	"context"
	"fmt"
	"runtime"
)

// openSerial returns what the platform can do with a serial port: nothing.
func openSerial(device string, _ Serial) func(context.Context) (conn, error) {
	return func(context.Context) (conn, error) {
		return nil, fmt.Errorf("open %s: dewgap reads serial lines on Linux alone, not on %s: read through a Modbus TCP gateway", device, runtime.GOOS)
	}
}
