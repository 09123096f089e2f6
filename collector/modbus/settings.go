// Package modbus reads Modbus devices: TCP, RTU on a serial line, RTU over TCP.
//
// It is incapable of writing: only function codes 1 to 4 pass its packager. It
// may import the Modbus client library, collector, register, reading.
package modbus

import (
	"context"
	"errors"
	"fmt"
	"net"
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

// Settings of one bus and all that is read on it. Whoever fills them in puts
// the defaults; New refuses what is not stated.
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
	Bit     int    // of a register, for a switch packed in one (Mapping.Type Bit); -1 when none
	Period  time.Duration
	Mapping register.Mapping
}

// kind is the transport as the status names it.
func (t Transport) kind() string {
	switch t {
	case RTU:
		return "modbus rtu"
	case RTUOverTCP:
		return "modbus rtu over tcp"
	}
	return "modbus tcp"
}

func (s *Settings) dialer() func(context.Context) (conn, error) {
	if s.Transport == RTU {
		return openSerial(s.Address, s.Serial)
	}
	return dialTCP(s.Address)
}

// Check returns every fault that keeps the bus from being read, each with what
// would be right, or nil.
func (s *Settings) Check() error {
	faults := []error{s.checkBus()}
	for i := range s.Points {
		p := &s.Points[i]
		for _, err := range p.check(s) {
			faults = append(faults, fmt.Errorf("%s: %w", p.Path, err))
		}
	}
	return errors.Join(faults...)
}

// checkBus checks all but the points.
func (s *Settings) checkBus() error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	if s.Timeout <= 0 {
		fault("timeout %v would wait for ever; 500ms to 2s are usual", s.Timeout)
	}
	if s.Period <= 0 {
		fault("period %v is not a period; 1s to 10s are usual", s.Period)
	}
	if s.Gap < 0 || s.Gap > maxRegisters {
		fault("gap %d is out of range; 0 to %d registers", s.Gap, maxRegisters)
	}
	for _, f := range s.Forbidden {
		if f.First > f.Last {
			fault("forbidden range %d to %d is empty; the lower address comes first", f.First, f.Last)
		}
	}
	switch s.Transport {
	case RTU:
		if s.Address == "" {
			fault("no serial device; such as /dev/ttyUSB0 or, better, its path below /dev/serial/by-id")
		}
		if _, known := speeds[s.Serial.Baud]; !known {
			fault("speed %d is not one of 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400", s.Serial.Baud)
		}
		s.Serial.check(fault)
	case TCP, RTUOverTCP:
		if _, _, err := net.SplitHostPort(s.Address); err != nil {
			fault("address %q is not HOST:PORT; Modbus TCP mostly has port 502", s.Address)
		}
	default:
		fault("unknown transport")
	}
	return errors.Join(faults...)
}

func (s *Serial) check(fault func(string, ...any)) {
	if s.DataBits != 8 {
		fault("%d data bits; RTU has 8", s.DataBits)
	}
	if s.StopBits != 1 && s.StopBits != 2 {
		fault("%d stop bits; 1, or 2 without parity", s.StopBits)
	}
	if s.Parity != "none" && s.Parity != "even" && s.Parity != "odd" {
		fault("parity %q; none, even or odd", s.Parity)
	}
}

func (p *Point) check(s *Settings) (faults []error) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	if p.Table < Coil || p.Table > Input {
		fault("no table; coil, discrete, holding or input")
	}
	if s.Transport == RTU && (p.Unit < 1 || p.Unit > 247) {
		fault("unit %d cannot be on a serial line; 1 to 247", p.Unit)
	}
	if p.last() > 0xFFFF {
		fault("address %d leaves no room for a %s; 65535 is the last register", p.Address, p.Mapping.Type)
	}
	if p.Bit > 15 {
		fault("bit %d is not in a register; 0 to 15, 0 the lowest", p.Bit)
	}
	if !p.isBit() {
		if err := p.Mapping.Check(true); err != nil {
			faults = append(faults, err)
		}
		if p.Mapping.Type == register.Bit {
			fault("a bit in a register needs its number, 0 to 15")
		}
	}
	if p.Period < 0 {
		fault("period %v is none", p.Period)
	}
	for _, f := range s.Forbidden {
		if f.Unit == p.Unit && f.Table == p.Table && int(f.First) <= p.last() && f.Last >= p.Address {
			fault("address %d lies in the forbidden range %d to %d", p.Address, f.First, f.Last)
		}
	}
	return faults
}
