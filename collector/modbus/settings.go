// Package modbus reads Modbus devices: TCP, RTU on a serial line, RTU over TCP.
//
// It is incapable of writing: only function codes 1 to 4 pass its packager. It
// may import the Modbus client library, collector, register, reading.
package modbus

import (
	"time"

	"dewgap/collector/register"
)

// Transport is how frames travel.
type Transport uint8

// Transports.
const (
	TCP Transport = iota
	RTU
	RTUOverTCP
)

// Table is the kind of data; its function code is the only thing ever sent.
type Table uint8

// Tables with their function codes.
const (
	Coil     Table = 1
	Discrete Table = 2
	Holding  Table = 3
	Input    Table = 4
)

// Settings of one bus and all that is read on it.
type Settings struct {
	Name      string
	Transport Transport
	Address   string // host:port, or the serial device
	Serial    Serial
	Timeout   time.Duration // absolute deadline of one request; default 1 s
	Period    time.Duration // of points that state none; default 5 s
	Gap       int           // most unneeded registers read to join two points; default 8
	Forbidden []Span        // never read, not even inside a gap
	Points    []Point
}

// Serial line parameters.
type Serial struct {
	Baud     int
	DataBits int
	Parity   string // "none", "even", "odd"
	StopBits int
	RS485    bool
}

// Span is a closed range of addresses of one unit's table.
type Span struct {
	Unit        uint8
	Table       Table
	First, Last uint16
}

// Point is one input on the bus.
type Point struct {
	Index   int // in the site's list of points
	Path    string
	Unit    uint8
	Table   Table
	Address uint16 // zero-based, as on the wire
	Bit     int    // of a register, for a switch packed in one; -1 when none
	Period  time.Duration
	Mapping register.Mapping
}
