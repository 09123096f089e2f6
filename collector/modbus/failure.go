package modbus

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"syscall"

	"dewgap/analyze/reading"
)

// Kinds of frames that do not answer the request. A reading carries them as the
// detail of reading.BadFrame, the counters by their own name.
const (
	wrongTransaction = "wrong-transaction"
	wrongProtocol    = "wrong-protocol"
	wrongLength      = "wrong-length"
	wrongUnit        = "wrong-unit"
	wrongFunction    = "wrong-function"
	wrongCount       = "wrong-count"
	shortReply       = "short-reply"
	longReply        = "long-reply"
	badException     = "bad-exception"
	noFrame          = "no-frame" // bytes that are no frame: noise, wrong speed or parity, bad CRC
)

// Failure is why a request gave no registers.
type Failure struct {
	Code   string // as a reading's reason has it
	Kind   string // as the counters have it; finer than Code for bad frames
	Detail string // for a technician
	err    error
}

func (f *Failure) Error() string { return f.Reason() }
func (f *Failure) Unwrap() error { return f.err }

// Reason is the failure as a reading carries it.
func (f *Failure) Reason() string {
	text := f.Code
	if f.Kind != f.Code {
		text += ": " + f.Kind
	}
	if f.Detail != "" {
		text += ": " + f.Detail
	}
	return text
}

func failure(code, format string, args ...any) *Failure {
	return &Failure{Code: code, Kind: code, Detail: fmt.Sprintf(format, args...)}
}

func badFrame(kind, format string, args ...any) *Failure {
	return &Failure{Code: reading.BadFrame, Kind: kind, Detail: fmt.Sprintf(format, args...)}
}

var exceptionNames = [...]string{1: "illegal function", 2: "illegal data address", 3: "illegal data value",
	4: "device failure", 5: "acknowledge, still busy", 6: "device busy", 7: "negative acknowledge", 8: "memory parity error",
	10: "gateway has no path to the unit", 11: "the unit does not answer its gateway"}

// exceptionFailure returns the failure of an exception response.
func exceptionFailure(code byte) *Failure {
	name := "unknown"
	if int(code) < len(exceptionNames) && exceptionNames[code] != "" {
		name = exceptionNames[code]
	}
	return failure(fmt.Sprintf("exception-%d", code), "%s", name)
}

// Exceptions that a gateway sends in place of a silent unit.
const (
	gatewayPath   = "exception-10"
	gatewayTarget = "exception-11"
	illegalAddr   = "exception-2"
	illegalValue  = "exception-3"
	illegalFunc   = "exception-1"
)

// ofUnit reports whether the failure is the unit's rather than the bus's.
func (f *Failure) ofUnit() bool {
	switch f.Code {
	case reading.Timeout, reading.BadFrame, gatewayPath, gatewayTarget:
		return true
	}
	return false
}

// ofBus reports whether nothing on the bus can be reached.
func (f *Failure) ofBus() bool {
	return f.Code == reading.Refused || f.Code == reading.Closed || f.Code == reading.Unreachable
}

// isException reports whether a device or gateway answered with an exception response.
func (f *Failure) isException() bool { return strings.HasPrefix(f.Code, "exception-") }

// fromIO turns an error of the connection into a failure; doing names the
// operation that failed.
func fromIO(err error, doing string) *Failure {
	f := &Failure{Code: reading.Unreachable, Detail: doing + ": " + err.Error(), err: err}
	var dns *net.DNSError
	switch {
	case errors.Is(err, context.Canceled):
	case errors.As(err, &dns):
		f.Detail = doing + ": the name " + dns.Name + " is not known: " + dns.Err
	case errors.Is(err, os.ErrDeadlineExceeded) || errors.Is(err, context.DeadlineExceeded):
		f.Code, f.Detail = reading.Timeout, doing
		if doing == connecting {
			f.Code, f.Detail = reading.Unreachable, doing+": no answer"
		}
	case errors.Is(err, errRefused):
		f.Code, f.Detail = reading.Refused, doing+": nothing listens there"
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.ErrClosedPipe),
		errors.Is(err, errReset), errors.Is(err, errAborted), errors.Is(err, syscall.EPIPE), errors.Is(err, net.ErrClosed), errors.Is(err, os.ErrClosed), errors.Is(err, syscall.EIO):
		f.Code, f.Detail = reading.Closed, doing+": the other side closed the connection"
	}
	f.Kind = f.Code
	return f
}

const connecting = "connecting"
