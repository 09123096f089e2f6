package modbus

import "syscall"

// Errors of a connection as this system numbers them (winerror.h).
const (
	errRefused = syscall.Errno(10061) // WSAECONNREFUSED
	errReset   = syscall.Errno(10054) // WSAECONNRESET
	errAborted = syscall.Errno(10053) // WSAECONNABORTED
)
