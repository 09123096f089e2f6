package modbus

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"sync"
	"time"

	"dewgap/analyze/reading"

	"github.com/goburrow/modbus"
)

// conn is a TCP connection or a serial port.
type conn interface {
	io.ReadWriteCloser
	SetDeadline(time.Time) error
}

// line is the one connection of a bus. It is the client library's packager and
// transporter, so that nothing reaches the wire or a value but through the
// checks below. It belongs to one goroutine; only interrupt may come from
// another.
type line struct {
	transport Transport
	timeout   time.Duration
	silence   time.Duration // RTU: least silence between frames
	perByte   time.Duration // serial: time of one character
	dial      func(context.Context) (conn, error)
	client    modbus.Client

	ctx  context.Context
	unit byte
	tx   uint16
	mu   sync.Mutex // guards c against interrupt
	c    conn
	last time.Time // when the line last carried something
	// served is set once this connection has answered: the closing of one that
	// has is an idle device's, worth a second try at once.
	served   bool
	dials    uint64
	requests uint64
	// behind are the units of an RTU line that owe us an answer: the next
	// frame from them may be the late one.
	behind [256]bool

	out [mostTCP]byte
	in  [2 * mostTCP]byte
}

func newLine(s *Settings, dial func(context.Context) (conn, error)) *line {
	l := &line{transport: s.Transport, timeout: s.Timeout, dial: dial, ctx: context.Background()}
	if s.Transport != TCP {
		l.silence = s.Serial.silence()
		l.perByte = s.Serial.perByte()
	}
	l.client = modbus.NewClient(l)
	return l
}

// read asks one unit for registers or bits and returns the data bytes, checked.
func (l *line) read(ctx context.Context, unit uint8, table Table, address, quantity uint16) ([]byte, *Failure) {
	l.ctx = ctx
	if l.transport != TCP && l.behind[unit] {
		if f := l.resynchronise(unit, table, address); f != nil {
			return nil, f
		}
	}
	reused := l.served
	data, f := l.request(unit, table, address, quantity)
	if f != nil && f.Code == reading.Closed && reused {
		// An idle device hung up; a fresh connection tells whether it is well.
		data, f = l.request(unit, table, address, quantity)
	}
	return data, f
}

// resynchronise makes sure that the next answer of a unit that owed one belongs
// to the next request: one register, whose answer is thrown away, and then
// silence. A late answer spends itself on either.
func (l *line) resynchronise(unit uint8, table Table, address uint16) *Failure {
	if _, f := l.request(unit, table, address, 1); f != nil && !f.isException() {
		return f
	}
	if f := l.quieten(l.timeout / 2); f != nil {
		l.close()
		return f
	}
	l.behind[unit] = false
	return nil
}

// request does one exchange. After every failure that is not a device's own
// exception the connection is closed.
func (l *line) request(unit uint8, table Table, address, quantity uint16) ([]byte, *Failure) {
	l.unit = unit
	var data []byte
	var err error
	switch table {
	case Coil:
		data, err = l.client.ReadCoils(address, quantity)
	case Discrete:
		data, err = l.client.ReadDiscreteInputs(address, quantity)
	case Holding:
		data, err = l.client.ReadHoldingRegisters(address, quantity)
	case Input:
		data, err = l.client.ReadInputRegisters(address, quantity)
	default:
		err = errWrites
	}
	if err == nil && len(data) != byteCount(byte(table), quantity) {
		err = badFrame(wrongCount, "%d data bytes", len(data))
	}
	if err == nil {
		l.served = true
		return data, nil
	}
	var exception *modbus.ModbusError
	if errors.As(err, &exception) {
		l.served = true
		return nil, exceptionFailure(exception.ExceptionCode)
	}
	var f *Failure
	if !errors.As(err, &f) {
		f = &Failure{Code: reading.BadFrame, Kind: noFrame, Detail: err.Error(), err: err}
	}
	if l.transport != TCP && f.ofUnit() {
		l.behind[unit] = true
		l.quieten(l.timeout / 2) // wait out the line before anybody else is asked
	}
	l.close()
	return nil, f
}

// Encode frames a request. It refuses everything that is not a read.
func (l *line) Encode(pdu *modbus.ProtocolDataUnit) ([]byte, error) {
	if !isRead(pdu.FunctionCode) || len(pdu.Data) != 4 {
		return nil, errWrites
	}
	out := l.out[:0]
	if l.transport == TCP {
		l.tx++
		out = binary.BigEndian.AppendUint16(out, l.tx)
		out = append(out, 0, 0, 0, byte(2+len(pdu.Data)))
	}
	out = append(out, l.unit, pdu.FunctionCode)
	out = append(out, pdu.Data...)
	if l.transport != TCP {
		out = binary.LittleEndian.AppendUint16(out, crc16(out))
	}
	return out, nil
}

// Verify checks a reply against its request.
func (l *line) Verify(request, reply []byte) error {
	check := checkTCP
	if l.transport != TCP {
		check = checkRTU
	}
	if f := check(request, reply); f != nil {
		return f
	}
	return nil
}

// Decode takes function code and data out of a verified reply.
func (l *line) Decode(reply []byte) (*modbus.ProtocolDataUnit, error) {
	if l.transport == TCP {
		return &modbus.ProtocolDataUnit{FunctionCode: reply[7], Data: reply[8:]}, nil
	}
	return &modbus.ProtocolDataUnit{FunctionCode: reply[1], Data: reply[2 : len(reply)-2]}, nil
}

// Send sends a request and returns the frame that answers it. One absolute
// deadline covers both.
func (l *line) Send(request []byte) ([]byte, error) {
	if len(request) < requestRTU || !isRead(request[len(request)-l.tail()-5]) {
		return nil, errWrites
	}
	if err := l.open(); err != nil {
		return nil, err
	}
	if l.transport != TCP {
		if f := l.quieten(l.silence); f != nil {
			return nil, f
		}
	}
	l.requests++
	deadline := time.Now().Add(l.timeout + l.onWire(request))
	if err := l.until(deadline); err != nil {
		return nil, err
	}
	if _, err := l.c.Write(request); err != nil {
		return nil, l.ioFailure(err, "sending")
	}
	if l.transport == TCP {
		return l.receiveTCP()
	}
	return l.receiveRTU(request)
}

// tail is how many bytes follow the quantity.
func (l *line) tail() int {
	if l.transport == TCP {
		return 0
	}
	return 2
}

// onWire is how long request and reply take on a serial line.
func (l *line) onWire(request []byte) time.Duration {
	if l.perByte == 0 {
		return 0
	}
	quantity := binary.BigEndian.Uint16(request[4:])
	return time.Duration(len(request)+5+byteCount(request[1], quantity)) * l.perByte
}

func (l *line) receiveTCP() ([]byte, error) {
	n, want := 0, headerTCP
	for {
		k, err := l.c.Read(l.in[n:])
		n += k
		if n >= headerTCP && want == headerTCP {
			var f *Failure
			if want, f = lengthTCP(l.in[:n]); f != nil {
				return nil, f
			}
		}
		switch {
		case n == want:
			return l.in[:n], nil
		case n > want:
			return nil, badFrame(longReply, "%d bytes after the answer", n-want)
		case err != nil:
			return nil, l.ioFailure(err, "waiting for an answer")
		}
	}
}

func (l *line) receiveRTU(request []byte) ([]byte, error) {
	n := 0
	var rejected *Failure
	for n < len(l.in) {
		k, err := l.c.Read(l.in[n:])
		if k > 0 {
			n += k
			l.last = time.Now()
			var reply []byte
			if reply, rejected = findRTU(request, l.in[:n]); reply != nil {
				return reply, nil
			}
		}
		if err != nil {
			f := l.ioFailure(err, "waiting for an answer")
			if f.Code == reading.Timeout && rejected != nil {
				return nil, rejected
			}
			return nil, f
		}
	}
	return nil, badFrame(noFrame, "%d bytes and no answer among them", n)
}

// quieten waits until the line has been silent for d, reading away what comes.
func (l *line) quieten(d time.Duration) *Failure {
	if l.c == nil {
		return nil
	}
	giveUp := time.Now().Add(2*l.timeout + d)
	for {
		end := l.last.Add(d)
		now := time.Now()
		if d > l.silence {
			end = now.Add(d) // a full wait from now on
		}
		if end.Before(now) {
			end = now // take away what lies there
		}
		if end.After(giveUp) {
			return badFrame(noFrame, "the line is never silent for %v", d)
		}
		if f := l.until(end); f != nil {
			return f.(*Failure)
		}
		k, err := l.c.Read(l.in[:])
		if k > 0 {
			l.last = time.Now()
			continue
		}
		if errors.Is(err, os.ErrDeadlineExceeded) {
			return l.canceled()
		}
		if err != nil {
			return l.ioFailure(err, "listening")
		}
	}
}

// open dials when there is no connection.
func (l *line) open() error {
	if l.c != nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(l.ctx, l.timeout)
	defer cancel()
	l.dials++
	c, err := l.dial(ctx)
	if err != nil {
		return fromIO(err, connecting)
	}
	l.mu.Lock()
	l.c = c
	l.mu.Unlock()
	l.served, l.last = false, time.Now()
	return nil
}

// close drops the connection; the next request dials anew.
func (l *line) close() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.c != nil {
		l.c.Close()
		l.c, l.served = nil, false
	}
}

// until sets the absolute deadline, and fails when the context has ended.
func (l *line) until(deadline time.Time) error {
	if err := l.c.SetDeadline(deadline); err != nil {
		return fromIO(err, "setting the deadline")
	}
	if f := l.canceled(); f != nil { // after SetDeadline: see interrupt
		return f
	}
	return nil
}

// interrupt ends an exchange in progress; its context must have ended before.
func (l *line) interrupt() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.c != nil {
		l.c.SetDeadline(time.Unix(1, 0))
	}
}

func (l *line) canceled() *Failure {
	if err := l.ctx.Err(); err != nil {
		return &Failure{Code: reading.Unreachable, Kind: reading.Unreachable, Detail: "leaving", err: err}
	}
	return nil
}

func (l *line) ioFailure(err error, doing string) *Failure {
	if f := l.canceled(); f != nil {
		return f
	}
	f := fromIO(err, doing)
	if f.Code == reading.Timeout {
		f.Detail = "no answer within " + l.timeout.String()
	}
	return f
}
