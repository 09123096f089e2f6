package modbus

import (
	"encoding/binary"
	"errors"
)

// Sizes of frames (MODBUS Application Protocol V1.1b3, 4.1; Serial Line V1.02).
const (
	headerTCP    = 7   // transaction, protocol, length, unit
	maxTCP       = 260 // MBAP header and a PDU of 253 bytes
	maxRTU       = 256
	requestRTU   = 8 // unit, function, address, quantity, CRC
	maxRegisters = 125
	maxBits      = 2000
)

// errWrites is the error of every request that is not a read.
var errWrites = errors.New("dewgap only reads: function codes other than 1 to 4 are never sent")

// isRead reports whether a function code may be sent: read coils, discrete
// inputs, holding registers, input registers.
func isRead(function byte) bool { return function >= 1 && function <= 4 }

// byteCount is how many data bytes the reply to a request for quantity has.
func byteCount(function byte, quantity uint16) int {
	if function <= 2 {
		return (int(quantity) + 7) / 8
	}
	return 2 * int(quantity)
}

// checkPDU checks a reply's unit, function, byte count and length against the
// request: unit, function, address, quantity. Both begin with the unit.
func checkPDU(request, reply []byte) *Failure {
	if len(reply) < 3 {
		return badFrame(shortReply, "%d bytes", len(reply))
	}
	if reply[0] != request[0] {
		return badFrame(wrongUnit, "unit %d answered for unit %d", reply[0], request[0])
	}
	function := request[1]
	if reply[1] == function|0x80 {
		if len(reply) != 3 || reply[2] == 0 || reply[2] > 11 {
			return badFrame(badException, "exception % X", reply[2:])
		}
		return nil
	}
	if reply[1] != function {
		return badFrame(wrongFunction, "function 0x%02X answered 0x%02X", reply[1], function)
	}
	want := byteCount(function, binary.BigEndian.Uint16(request[4:]))
	got, count := len(reply)-3, int(reply[2])
	switch {
	case got != count:
		return badFrame(wrongCount, "%d bytes, counted as %d", got, count)
	case got < want:
		return badFrame(shortReply, "%d data bytes for %d", got, want)
	case got > want:
		return badFrame(longReply, "%d data bytes for %d", got, want)
	}
	return nil
}

// lengthTCP is the whole length of the frame that starts with header, or a
// failure for one that cannot be an answer.
func lengthTCP(header []byte) (int, *Failure) {
	if p := binary.BigEndian.Uint16(header[2:]); p != 0 {
		return 0, badFrame(wrongProtocol, "protocol %d", p)
	}
	length := int(binary.BigEndian.Uint16(header[4:]))
	if length < 3 || length > maxTCP-6 {
		return 0, badFrame(wrongLength, "length %d", length)
	}
	return 6 + length, nil
}

// checkTCP checks a whole reply against its request.
func checkTCP(request, reply []byte) *Failure {
	if len(reply) < headerTCP+2 {
		return badFrame(shortReply, "%d bytes", len(reply))
	}
	length, f := lengthTCP(reply)
	switch {
	case f != nil:
		return f
	case length != len(reply):
		return badFrame(wrongLength, "%d bytes, counted as %d", len(reply), length)
	}
	want, got := binary.BigEndian.Uint16(request), binary.BigEndian.Uint16(reply)
	if want != got {
		return badFrame(wrongTransaction, "transaction %d answered %d", got, want)
	}
	return checkPDU(request[6:], reply[6:])
}

// crc16 is the check of an RTU frame (MODBUS over Serial Line V1.02, 6.2.2).
func crc16(b []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, x := range b {
		crc = crc>>8 ^ crcTable[byte(crc)^x]
	}
	return crc
}

var crcTable = func() (table [256]uint16) {
	for i := range table {
		crc := uint16(i)
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0xA001
			} else {
				crc >>= 1
			}
		}
		table[i] = crc
	}
	return table
}()

// checkRTU checks a whole reply, with its CRC, against its request.
func checkRTU(request, reply []byte) *Failure {
	if len(reply) < 5 || len(reply) > maxRTU {
		return badFrame(noFrame, "%d bytes", len(reply))
	}
	body := reply[:len(reply)-2]
	if crc16(body) != binary.LittleEndian.Uint16(reply[len(body):]) {
		return badFrame(noFrame, "check sum is wrong")
	}
	return checkPDU(request, body)
}

// findRTU looks in what came over the line for the reply to request. An echo of
// the request, noise and whole frames that are no answer to it (late ones of
// other requests) are passed over; rejected describes the last of them, for the
// case that no answer follows.
func findRTU(request, got []byte) (reply []byte, rejected *Failure) {
	atFrame := true // at a place where a frame may start after another
	for i := 0; i < len(got); {
		rest := got[i:]
		if len(rest) >= requestRTU && string(rest[:requestRTU]) == string(request[:requestRTU]) {
			i, atFrame = i+requestRTU, true
			continue
		}
		if n := lengthRTU(rest); n > 0 && n <= len(rest) && (atFrame || rest[0] == request[0]) {
			f := checkRTU(request, rest[:n])
			if f == nil {
				return rest[:n], nil
			}
			if f.Kind != noFrame {
				rejected = f
				i, atFrame = i+n, true
				continue
			}
		}
		i, atFrame = i+1, false
		if rejected == nil {
			rejected = badFrame(noFrame, "%d bytes that are no answer: noise, wrong speed or parity?", len(got))
		}
	}
	return nil, rejected
}

// lengthRTU is how long the reply that starts here would be; 0 when none can.
func lengthRTU(b []byte) int {
	switch {
	case len(b) < 3:
		return 0
	case b[1]&0x80 != 0:
		return 5
	case isRead(b[1]):
		return 5 + int(b[2])
	}
	return 0
}
