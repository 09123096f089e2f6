package modbus

import (
	"context"
	"net"
	"time"
)

// bitsPerCharacter counts start, data, parity and stop bits.
func (s *Serial) bitsPerCharacter() int {
	n := 1 + s.DataBits + s.StopBits
	if s.Parity != "none" {
		n++
	}
	return n
}

// perByte is how long one character takes; 0 when no speed is stated.
func (s *Serial) perByte() time.Duration {
	if s.Baud == 0 {
		return 0
	}
	return time.Duration(s.bitsPerCharacter()) * time.Second / time.Duration(s.Baud)
}

// Silence between frames (MODBUS over Serial Line V1.02, 2.5.1.1).
const (
	fastLine        = 19200
	fastLineSilence = 1750 * time.Microsecond
)

// silence is 3.5 characters, fixed above 19,200 baud and where the speed of a
// line behind a gateway is not stated.
func (s *Serial) silence() time.Duration {
	if s.Baud == 0 || s.Baud > fastLine {
		return fastLineSilence
	}
	return s.perByte() * 7 / 2
}

// dialTCP resolves the host's name at each connection: its address may change
// while the program runs.
func dialTCP(address string) func(context.Context) (conn, error) {
	return func(ctx context.Context) (conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "tcp", address)
	}
}

// speeds are the bits a second that a line may have.
var speeds = map[int]bool{
	1200: true, 2400: true, 4800: true, 9600: true, 19200: true, 38400: true, 57600: true, 115200: true, 230400: true,
}
