package reading

import (
	"math"
	"strings"
)

var qualities = [...]string{Missing: "missing", Good: "good", Suspect: "suspect", Stale: "stale", Bad: "bad"}

// Qualities lists all of them, best first, as the contract does.
func Qualities() []Quality { return []Quality{Good, Stale, Suspect, Bad, Missing} }

// String returns the quality as the contract writes it.
func (q Quality) String() string {
	if int(q) >= len(qualities) {
		return "missing"
	}
	return qualities[q]
}

// HasValue reports whether a reading or superheat of this quality has a value.
func (q Quality) HasValue() bool { return q == Good || q == Suspect }

// Reason codes of failures to get an answer at all: the device or the broker
// did not say anything about the value, so that the last one stands until it
// is stale. "exception-N" (a Modbus exception) belongs to them. Every other
// code reports that what came is no value: Bad.
const (
	Timeout      = "timeout"      // no answer in time
	Refused      = "refused"      // nobody listens, or the peer does not let us in
	Closed       = "closed"       // the peer closed or reset the connection
	Unreachable  = "unreachable"  // no way to the host, or its name is unknown
	BadFrame     = "bad-frame"    // an answer that is not one to our request
	NoData       = "no-data"      // an answer without a value
	Resting      = "resting"      // left alone for a while after failures
	Disconnected = "disconnected" // the broker is lost
	Silent       = "silent"       // connected, but nothing arrives
)

const exception = "exception-"

// Reason codes of values that are none.
const (
	Invalid     = "invalid"      // no reason was stated
	NotANumber  = "nan"          // NaN or infinite
	OutOfRange  = "out-of-range" // cannot be
	Unparseable = "parse"        // not a number
	Skewed      = "skew"         // the device's clock is wrong
)

// CodeOf returns the code of a reason "code" or "code: detail".
func CodeOf(reason string) string {
	code, _, _ := strings.Cut(reason, ":")
	return code
}

// QualityOf returns what a failure's reason makes of a value: Missing when no
// answer came, Bad when what came is no value. A recording holds the reason
// only, so this is the one place that decides. No reason at all is Missing.
func QualityOf(reason string) Quality {
	switch code := CodeOf(reason); code {
	case "", Timeout, Refused, Closed, Unreachable, BadFrame, NoData, Resting, Disconnected, Silent:
		return Missing
	default:
		if strings.HasPrefix(code, exception) {
			return Missing
		}
		return Bad
	}
}

// Fail returns the failed reading of a point; its quality follows from the
// reason.
func Fail(point int, reason string) Reading {
	return Reading{Point: point, Value: math.NaN(), Quality: QualityOf(reason), Reason: reason}
}

// Settle returns r as a recording can hold it: a good value rounded to 0.1 Pa,
// 0.001 °C, 0.01 % or 0/1, or a failure whose quality follows from its reason. A good
// value that no quantity of its kind can have (not finite, no absolute
// pressure, below absolute zero) becomes a failure. Live rows and replayed
// rows pass here, so that both are the same to the last bit.
func Settle(r Reading, kind Kind) Reading {
	if r.Quality.HasValue() {
		if reason := impossible(r.Value, kind); reason != "" {
			return Reading{Point: r.Point, Time: r.Time, Value: math.NaN(), Quality: Bad, Reason: reason}
		}
		r.Value, r.Quality, r.Reason = round(r.Value, kind), Good, ""
		return r
	}
	reason := tidy(r.Reason)
	if reason == "" {
		reason = NoData
		if r.Quality == Bad {
			reason = Invalid
		}
	}
	return Reading{Point: r.Point, Time: r.Time, Value: math.NaN(), Quality: QualityOf(reason), Reason: reason}
}

// Limits beyond which a value is none and rounding would lose exactness.
const (
	absoluteZero = -273.15 // °C
	hottest      = 1e6     // °C
	highest      = 1e12    // Pa
	fullest      = 1e6     // %
)

func impossible(v float64, kind Kind) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return NotANumber
	case kind == Pressure && (v < 0 || v > highest):
		return OutOfRange + ": no absolute pressure"
	case kind == Temperature && (v < absoluteZero || v > hottest):
		return OutOfRange + ": no temperature"
	case kind == Share && (v < 0 || v > fullest):
		return OutOfRange + ": no share of full"
	}
	return ""
}

// round rounds v so that its decimal text reads back as the very same number:
// an integer below 2^53 divided by a power of ten is the nearest number to
// that decimal.
func round(v float64, kind Kind) float64 {
	switch kind {
	case Pressure:
		v = math.Round(v*10) / 10
	case Temperature:
		v = math.Round(v*1000) / 1000
	case Share:
		v = math.Round(v*100) / 100
	case Switch:
		if v != 0 {
			v = 1
		}
	}
	return v + 0 // no negative zero: a recording's text would lose its sign
}

// maxReason is the length in bytes beyond which a reason is cut.
const maxReason = 160

// tidy makes a reason fit for one cell, one log line and one label: one line
// of valid UTF-8 of bounded length.
func tidy(reason string) string {
	plain := len(reason) <= maxReason
	for i := 0; plain && i < len(reason); i++ {
		plain = reason[i] >= ' ' && reason[i] < 0x7F
	}
	if !plain {
		reason = strings.Map(func(c rune) rune {
			if c < ' ' || c == 0x7F || c >= 0x80 && c < 0xA0 || c == '\u2028' || c == '\u2029' {
				return ' '
			}
			return c
		}, strings.ToValidUTF8(reason, "\uFFFD"))
		if len(reason) > maxReason {
			reason = strings.ToValidUTF8(reason[:maxReason-len("…")], "") + "…"
		}
	}
	return strings.TrimSpace(reason)
}
