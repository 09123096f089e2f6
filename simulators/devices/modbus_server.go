// Package devices simulates the devices that read a plant: Modbus servers and
// MQTT publishers, well-behaved or faulty.
//
// It is reached over the wire only. It may import the standard
// library and general-purpose libraries, units, and the simulated plant. It
// must never import collector: both sides would share the same mistake, and no
// test would notice.
package devices

import (
	"context"
	"encoding/binary"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"time"
)

// Registers answers what a Modbus device holds. Table is the function code that
// reads it: 1 coils, 2 discrete inputs, 3 holding registers, 4 input registers;
// for the first two the word is 0 or 1. ok is false where the device has
// nothing, which the device answers with exception 2. Read may be called from
// several goroutines.
type Registers interface {
	Read(unit, table uint8, address uint16) (word uint16, ok bool)
}

// ModbusDevice is a device, or a gateway with many units behind it. The zero
// value with Registers is a well-behaved Modbus TCP server.
type ModbusDevice struct {
	Registers Registers
	RTU       bool // RTU frames, over TCP or a line, instead of Modbus TCP
	Echo      bool // the line echoes what is sent, as two-wire adapters do (RTU)
	// MaxRegisters is the longest read the device takes; 0 means 125.
	MaxRegisters int

	fault    atomic.Pointer[ModbusFault]
	frozen   atomic.Bool
	requests atomic.Uint64
	writes   atomic.Uint64
	conns    atomic.Uint64

	choosing sync.Mutex
	choose   func(ModbusRequest) ModbusFault

	mu    sync.Mutex
	still map[[2]uint32]uint16 // values held while frozen
}

// Set makes f the fault of every request from now on; the zero fault ends it.
func (s *ModbusDevice) Set(f ModbusFault) { s.fault.Store(&f) }

// Choose calls f for the fault of each request from now on; nil ends that. f
// is called for one request at a time.
func (s *ModbusDevice) Choose(f func(ModbusRequest) ModbusFault) {
	s.choosing.Lock()
	defer s.choosing.Unlock()
	s.choose = f
}

func (s *ModbusDevice) chosen(r ModbusRequest) ModbusFault {
	s.choosing.Lock()
	defer s.choosing.Unlock()
	if s.choose == nil {
		return ModbusFault{}
	}
	return s.choose(r)
}

// Freeze stops or restarts the device's clock: while stopped, every register
// keeps the value it had when it was first read frozen.
func (s *ModbusDevice) Freeze(on bool) {
	s.mu.Lock()
	s.still = make(map[[2]uint32]uint16)
	s.mu.Unlock()
	s.frozen.Store(on)
}

// Requests counts what was asked, Writes what was asked with any function code
// but 1 to 4, Connections the connections taken.
func (s *ModbusDevice) Requests() uint64    { return s.requests.Load() }
func (s *ModbusDevice) Writes() uint64      { return s.writes.Load() }
func (s *ModbusDevice) Connections() uint64 { return s.conns.Load() }

// Serve takes connections until ctx ends or the listener fails, and returns
// when all are closed.
func (s *ModbusDevice) Serve(ctx context.Context, l net.Listener) error {
	var open sync.WaitGroup
	defer open.Wait()
	defer context.AfterFunc(ctx, func() { l.Close() })()
	for {
		conn, err := l.Accept()
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		open.Go(func() { s.ServeLine(ctx, conn) })
	}
}

// ServeLine serves one connection, pipe or serial line until ctx ends or the
// other side closes.
func (s *ModbusDevice) ServeLine(ctx context.Context, line io.ReadWriteCloser) {
	s.conns.Add(1)
	defer line.Close()
	defer context.AfterFunc(ctx, func() { line.Close() })()
	buf := make([]byte, 0, 600)
	chunk := make([]byte, 512)
	for {
		n, err := line.Read(chunk)
		if err != nil {
			return
		}
		buf = append(buf, chunk[:n]...)
		for {
			request, used := s.next(buf)
			if used == 0 {
				break
			}
			frame := buf[:used]
			if request != nil && !s.answer(ctx, line, frame, request) {
				return
			}
			buf = append(buf[:0], buf[used:]...)
		}
	}
}

// request is the part of a frame that both framings share.
type request struct {
	ModbusRequest
	transaction uint16
	data        []byte
}

// next takes the first whole request from buf. used is 0 while it is not whole;
// the request is nil for what must be skipped.
func (s *ModbusDevice) next(buf []byte) (*request, int) {
	if s.RTU {
		if len(buf) < 8 {
			return nil, 0
		}
		if crc16(buf[:6]) != binary.LittleEndian.Uint16(buf[6:]) {
			return nil, 1 // noise: look for the frame one byte on
		}
		return newRequest(buf[0], buf[1], buf[2:6]), 8
	}
	if len(buf) < 7 {
		return nil, 0
	}
	length := int(binary.BigEndian.Uint16(buf[4:]))
	if length < 2 || length > 254 {
		return nil, len(buf)
	}
	if len(buf) < 6+length {
		return nil, 0
	}
	r := newRequest(buf[6], buf[7], buf[8:6+length])
	r.transaction = binary.BigEndian.Uint16(buf)
	return r, 6 + length
}

func newRequest(unit, function uint8, data []byte) *request {
	r := &request{ModbusRequest: ModbusRequest{Unit: unit, Function: function}, data: data}
	if len(data) >= 4 {
		r.Address, r.Quantity = binary.BigEndian.Uint16(data), binary.BigEndian.Uint16(data[2:])
	}
	return r
}

// answer sends the reply with the fault applied; it returns false when the
// connection must end.
func (s *ModbusDevice) answer(ctx context.Context, line io.ReadWriteCloser, frame []byte, r *request) bool {
	s.requests.Add(1)
	var fault ModbusFault
	if f := s.fault.Load(); f != nil {
		fault = *f
	}
	if f := s.chosen(r.ModbusRequest); f.Kind != NoFault {
		fault = f
	}
	if s.RTU && s.Echo {
		if _, err := line.Write(frame); err != nil {
			return false
		}
	}
	switch fault.Kind {
	case Silent:
		return true
	case Close:
		return false
	case Reset:
		if tcp, ok := line.(*net.TCPConn); ok {
			tcp.SetLinger(0)
		}
		return false
	case Late:
		if !pause(ctx, fault.Delay) {
			return false
		}
	}
	reply := s.frame(r, s.pdu(r, fault), fault)
	if fault.Kind == Drip {
		for i := range reply {
			if _, err := line.Write(reply[i : i+1]); err != nil || !pause(ctx, fault.Delay) {
				return false
			}
		}
		return true
	}
	_, err := line.Write(reply)
	return err == nil
}

// pdu builds function code and data of the reply.
func (s *ModbusDevice) pdu(r *request, fault ModbusFault) []byte {
	exception := func(code byte) []byte { return []byte{r.Function | 0x80, code} }
	switch fault.Kind {
	case Exception:
		return exception(fault.Code)
	case WrongException:
		return exception(fault.Code | 0x80)
	}
	bits := r.Function == 1 || r.Function == 2
	most := s.MaxRegisters
	if most == 0 {
		most = 125
	}
	if bits {
		most *= 16
	}
	quantity := int(r.Quantity)
	switch {
	case r.Function < 1 || r.Function > 4:
		s.writes.Add(1)
		return exception(1)
	case len(r.data) != 4 || quantity < 1 || quantity > most:
		return exception(3)
	case int(r.Address)+quantity > 65536:
		return exception(2)
	}
	var data []byte
	if bits {
		data = make([]byte, (quantity+7)/8)
	}
	for i := range quantity {
		word, ok := s.read(r.Unit, r.Function, r.Address+uint16(i))
		switch {
		case !ok:
			return exception(2)
		case !bits:
			data = binary.BigEndian.AppendUint16(data, word)
		case word != 0:
			data[i/8] |= 1 << (i % 8)
		}
	}
	function := r.Function
	switch fault.Kind {
	case Short:
		data = data[:max(0, len(data)-2)]
	case Long:
		data = append(data, 0xBE, 0xEF)
	case WrongFunction:
		function = function%4 + 1
	}
	count := byte(len(data))
	if fault.Kind == WrongCount {
		count += 2
	}
	return append([]byte{function, count}, data...)
}

func (s *ModbusDevice) read(unit, table uint8, address uint16) (uint16, bool) {
	if !s.frozen.Load() {
		return s.Registers.Read(unit, table, address)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	key := [2]uint32{uint32(unit)<<8 | uint32(table), uint32(address)}
	if word, ok := s.still[key]; ok {
		return word, true
	}
	word, ok := s.Registers.Read(unit, table, address)
	if ok {
		s.still[key] = word
	}
	return word, ok
}

// frame wraps the reply for the wire.
func (s *ModbusDevice) frame(r *request, pdu []byte, fault ModbusFault) []byte {
	unit := r.Unit
	if fault.Kind == WrongUnit {
		unit++
	}
	var out []byte
	if s.RTU {
		out = append([]byte{unit}, pdu...)
		out = binary.LittleEndian.AppendUint16(out, crc16(out))
		if fault.Kind == WrongCRC {
			out[len(out)/2] ^= 0x10
		}
	} else {
		transaction, protocol, length := r.transaction, uint16(0), uint16(len(pdu)+1)
		switch fault.Kind {
		case WrongTransaction:
			transaction--
		case WrongProtocol:
			protocol = 1
		case WrongLength:
			length = fault.Length
		}
		out = binary.BigEndian.AppendUint16(out, transaction)
		out = binary.BigEndian.AppendUint16(out, protocol)
		out = binary.BigEndian.AppendUint16(out, length)
		out = append(append(out, unit), pdu...)
	}
	switch fault.Kind {
	case Noise:
		out = append([]byte{0x00, 0xFF, 0x5A}, out...)
	case Trailing:
		out = append(out, 0x00, 0xFF, 0x5A)
	case Twice:
		out = append(out, out...)
	}
	return out
}

// pause waits; false when ctx ended.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}

// crc16 is the check of an RTU frame (MODBUS over Serial Line V1.02, 6.2.2),
// bit by bit: another way than the reader's table.
func crc16(b []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, x := range b {
		crc ^= uint16(x)
		for range 8 {
			odd := crc & 1
			crc >>= 1
			if odd != 0 {
				crc ^= 0xA001
			}
		}
	}
	return crc
}
