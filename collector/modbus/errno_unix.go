//go:build unix

package modbus

import "syscall"

// Errors of a connection as this system numbers them.
const (
	errRefused = syscall.ECONNREFUSED
	errReset   = syscall.ECONNRESET
	errAborted = syscall.ECONNABORTED
)
