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

// bus is the only connection to a bus. It implements the client library's
// packager and transporter, so that every request and every reply passes the
// checks of this file. It belongs to one goroutine; only interrupt may come from
// another.
type bus struct {
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
	// hasAnswered is set once this connection has answered. A device may close
	// such a connection because it was idle, so read tries again at once.
	hasAnswered bool
	dials       uint64
	requests    uint64
	// awaitingLateReply marks the units of a serial line that left a request
	// unanswered: their next frame may be the late reply.
	awaitingLateReply [256]bool

	out [maxTCP]byte
	in  [2 * maxTCP]byte
}

func newBus(s *Settings, dial func(context.Context) (conn, error)) *bus {
	l := &bus{transport: s.Transport, timeout: s.Timeout, dial: dial, ctx: context.Background()}
	if s.Transport != TCP {
		l.silence = s.Serial.silence()
		l.perByte = s.Serial.perByte()
	}
	l.client = modbus.NewClient(l)
	return l
}

// read asks one unit for registers or bits and returns the data bytes, checked.
func (b *bus) read(ctx context.Context, unit uint8, table Table, address, quantity uint16) ([]byte, *Failure) {
	b.ctx = ctx
	if b.transport != TCP && b.awaitingLateReply[unit] {
		if f := b.resynchronise(unit, table, address); f != nil {
			return nil, f
		}
	}
	reused := b.hasAnswered
	data, f := b.request(unit, table, address, quantity)
	if f != nil && f.Code == reading.Closed && reused {
		// The device closed an idle connection; a new one shows whether it answers.
		data, f = b.request(unit, table, address, quantity)
	}
	return data, f
}

// resynchronise makes sure that the next reply of a unit with a late reply
// belongs to the next request. It reads one register, discards the reply, and
// waits for silence. A late reply arrives in one of the two.
func (b *bus) resynchronise(unit uint8, table Table, address uint16) *Failure {
	if _, f := b.request(unit, table, address, 1); f != nil && !f.isException() {
		return f
	}
	if f := b.awaitSilence(b.timeout / 2); f != nil {
		b.close()
		return f
	}
	b.awaitingLateReply[unit] = false
	return nil
}

// request does one exchange. After every failure that is not a device's own
// exception the connection is closed.
func (b *bus) request(unit uint8, table Table, address, quantity uint16) ([]byte, *Failure) {
	b.unit = unit
	var data []byte
	var err error
	switch table {
	case Coil:
		data, err = b.client.ReadCoils(address, quantity)
	case Discrete:
		data, err = b.client.ReadDiscreteInputs(address, quantity)
	case Holding:
		data, err = b.client.ReadHoldingRegisters(address, quantity)
	case Input:
		data, err = b.client.ReadInputRegisters(address, quantity)
	default:
		err = errWrites
	}
	if err == nil && len(data) != byteCount(byte(table), quantity) {
		err = badFrame(wrongCount, "%d data bytes", len(data))
	}
	if err == nil {
		b.hasAnswered = true
		return data, nil
	}
	var exception *modbus.ModbusError
	if errors.As(err, &exception) {
		b.hasAnswered = true
		return nil, exceptionFailure(exception.ExceptionCode)
	}
	var f *Failure
	if !errors.As(err, &f) {
		f = &Failure{Code: reading.BadFrame, Kind: noFrame, Detail: err.Error(), err: err}
	}
	if b.transport != TCP && f.ofUnit() {
		b.awaitingLateReply[unit] = true
		b.awaitSilence(b.timeout / 2) // wait until the line is silent before the next request
	}
	b.close()
	return nil, f
}

// Encode frames a request. It refuses everything that is not a read.
func (b *bus) Encode(pdu *modbus.ProtocolDataUnit) ([]byte, error) {
	if !isRead(pdu.FunctionCode) || len(pdu.Data) != 4 {
		return nil, errWrites
	}
	out := b.out[:0]
	if b.transport == TCP {
		b.tx++
		out = binary.BigEndian.AppendUint16(out, b.tx)
		out = append(out, 0, 0, 0, byte(2+len(pdu.Data)))
	}
	out = append(out, b.unit, pdu.FunctionCode)
	out = append(out, pdu.Data...)
	if b.transport != TCP {
		out = binary.LittleEndian.AppendUint16(out, crc16(out))
	}
	return out, nil
}

// Verify checks a reply against its request.
func (b *bus) Verify(request, reply []byte) error {
	check := checkTCP
	if b.transport != TCP {
		check = checkRTU
	}
	if f := check(request, reply); f != nil {
		return f
	}
	return nil
}

// Decode takes function code and data out of a verified reply.
func (b *bus) Decode(reply []byte) (*modbus.ProtocolDataUnit, error) {
	if b.transport == TCP {
		return &modbus.ProtocolDataUnit{FunctionCode: reply[7], Data: reply[8:]}, nil
	}
	return &modbus.ProtocolDataUnit{FunctionCode: reply[1], Data: reply[2 : len(reply)-2]}, nil
}

// Send sends a request and returns the frame that answers it. One absolute
// deadline covers both.
func (b *bus) Send(request []byte) ([]byte, error) {
	if len(request) < requestRTU || !isRead(request[len(request)-b.checksumLength()-5]) {
		return nil, errWrites
	}
	if err := b.open(); err != nil {
		return nil, err
	}
	if b.transport != TCP {
		if f := b.awaitSilence(b.silence); f != nil {
			return nil, f
		}
	}
	b.requests++
	deadline := time.Now().Add(b.timeout + b.onWire(request))
	if err := b.setDeadline(deadline); err != nil {
		return nil, err
	}
	if _, err := b.c.Write(request); err != nil {
		return nil, b.ioFailure(err, "sending")
	}
	if b.transport == TCP {
		return b.receiveTCP()
	}
	return b.receiveRTU(request)
}

// checksumLength is how many bytes follow the quantity.
func (b *bus) checksumLength() int {
	if b.transport == TCP {
		return 0
	}
	return 2
}

// onWire is how long request and reply take on a serial line.
func (b *bus) onWire(request []byte) time.Duration {
	if b.perByte == 0 {
		return 0
	}
	quantity := binary.BigEndian.Uint16(request[4:])
	return time.Duration(len(request)+5+byteCount(request[1], quantity)) * b.perByte
}

func (b *bus) receiveTCP() ([]byte, error) {
	n, want := 0, headerTCP
	for {
		k, err := b.c.Read(b.in[n:])
		n += k
		if n >= headerTCP && want == headerTCP {
			var f *Failure
			if want, f = lengthTCP(b.in[:n]); f != nil {
				return nil, f
			}
		}
		switch {
		case n == want:
			return b.in[:n], nil
		case n > want:
			return nil, badFrame(longReply, "%d bytes after the answer", n-want)
		case err != nil:
			return nil, b.ioFailure(err, "waiting for an answer")
		}
	}
}

func (b *bus) receiveRTU(request []byte) ([]byte, error) {
	n := 0
	var rejected *Failure
	for n < len(b.in) {
		k, err := b.c.Read(b.in[n:])
		if k > 0 {
			n += k
			b.last = time.Now()
			var reply []byte
			if reply, rejected = findRTU(request, b.in[:n]); reply != nil {
				return reply, nil
			}
		}
		if err != nil {
			f := b.ioFailure(err, "waiting for an answer")
			if f.Code == reading.Timeout && rejected != nil {
				return nil, rejected
			}
			return nil, f
		}
	}
	return nil, badFrame(noFrame, "%d bytes and no answer among them", n)
}

// awaitSilence waits until the line has been silent for d, reading away what comes.
func (b *bus) awaitSilence(d time.Duration) *Failure {
	if b.c == nil {
		return nil
	}
	giveUp := time.Now().Add(2*b.timeout + d)
	for {
		end := b.last.Add(d)
		now := time.Now()
		if d > b.silence {
			end = now.Add(d) // a full wait from now on
		}
		if end.Before(now) {
			end = now // take away what lies there
		}
		if end.After(giveUp) {
			return badFrame(noFrame, "the line is never silent for %v", d)
		}
		if f := b.setDeadline(end); f != nil {
			return f.(*Failure)
		}
		k, err := b.c.Read(b.in[:])
		if k > 0 {
			b.last = time.Now()
			continue
		}
		if errors.Is(err, os.ErrDeadlineExceeded) {
			return b.canceled()
		}
		if err != nil {
			return b.ioFailure(err, "listening")
		}
	}
}

// open dials when there is no connection.
func (b *bus) open() error {
	if b.c != nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(b.ctx, b.timeout)
	defer cancel()
	b.dials++
	c, err := b.dial(ctx)
	if err != nil {
		return fromIO(err, connecting)
	}
	b.mu.Lock()
	b.c = c
	b.mu.Unlock()
	b.hasAnswered, b.last = false, time.Now()
	return nil
}

// close drops the connection; the next request dials again.
func (b *bus) close() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.c != nil {
		b.c.Close()
		b.c, b.hasAnswered = nil, false
	}
}

// setDeadline sets the absolute deadline, and fails when the context has ended.
func (b *bus) setDeadline(deadline time.Time) error {
	if err := b.c.SetDeadline(deadline); err != nil {
		return fromIO(err, "setting the deadline")
	}
	if f := b.canceled(); f != nil { // after SetDeadline: see interrupt
		return f
	}
	return nil
}

// interrupt ends an exchange in progress; its context must have ended before.
func (b *bus) interrupt() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.c != nil {
		b.c.SetDeadline(time.Unix(1, 0))
	}
}

func (b *bus) canceled() *Failure {
	if err := b.ctx.Err(); err != nil {
		return &Failure{Code: reading.Unreachable, Kind: reading.Unreachable, Detail: "leaving", err: err}
	}
	return nil
}

func (b *bus) ioFailure(err error, doing string) *Failure {
	if f := b.canceled(); f != nil {
		return f
	}
	f := fromIO(err, doing)
	if f.Code == reading.Timeout {
		f.Detail = "no answer within " + b.timeout.String()
	}
	return f
}
