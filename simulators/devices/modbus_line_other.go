//go:build !linux

package devices

import (
	"fmt"
	"os"
	"runtime"
)

// OpenLine returns an error: a serial line is a pseudo-terminal of Linux.
func OpenLine() (device, keep *os.File, name string, err error) {
	return nil, nil, "", fmt.Errorf("a simulated serial line needs Linux, and this is %s: leave the line out with --no-rtu", runtime.GOOS)
}
