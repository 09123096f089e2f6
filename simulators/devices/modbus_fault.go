package devices

import "time"

// ModbusFaultKind is one way for a device to misbehave.
type ModbusFaultKind uint8

// Faults seen on real devices, gateways and lines.
const (
	NoFault          ModbusFaultKind = iota
	Late                             // the right answer after Delay
	Silent                           // no answer at all
	Short                            // a value fewer than asked for, with a byte count to match
	Long                             // a value more than asked for, with a byte count to match
	WrongCount                       // the right bytes, another byte count
	WrongUnit                        // another unit answers
	WrongFunction                    // another function code answers
	WrongTransaction                 // the transaction id of an earlier request (TCP)
	WrongProtocol                    // a protocol id other than 0 (TCP)
	WrongLength                      // Length in the header, whatever follows (TCP)
	WrongCRC                         // a bit flipped on the line (RTU)
	Drip                             // one byte each Delay
	Reset                            // the connection is reset instead of an answer
	Close                            // the connection is closed instead of an answer
	Noise                            // garbage before the answer
	Trailing                         // garbage after the answer
	Exception                        // exception Code
	WrongException                   // an exception whose code has bit 7 set
	Twice                            // the answer comes twice
)

// ModbusFault is a fault with its particulars. The zero value is none.
type ModbusFault struct {
	Kind   ModbusFaultKind
	Code   byte          // of an Exception
	Delay  time.Duration // of Late and Drip
	Length uint16        // of WrongLength
}

// ModbusRequest is a request that reached the device, for hooks and tests.
type ModbusRequest struct {
	Unit, Function    uint8
	Address, Quantity uint16
}
