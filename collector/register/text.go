package register

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// longestNumber is the longest text taken for a number.
const longestNumber = 64

// ParseNumber reads a decimal number from text: optional sign, digits with a
// decimal point, optional exponent; spaces around it are ignored. Everything
// else is refused with a reason: a guess would be a wrong value.
func ParseNumber(text string) (float64, Fault) {
	s := strings.TrimSpace(text)
	switch strings.ToLower(s) {
	case "":
		return math.NaN(), Fault{CodeNoData, "empty text"}
	case "null", "none", "unavailable", "unknown", "offline":
		return math.NaN(), Fault{CodeNoData, strconv.Quote(s)}
	case "nan", "-nan", "+nan":
		return math.NaN(), Fault{CodeNaN, strconv.Quote(s)}
	case "inf", "+inf", "-inf", "infinity", "+infinity", "-infinity":
		return math.NaN(), Fault{CodeInfinite, strconv.Quote(s)}
	}
	if len(s) > longestNumber {
		return math.NaN(), Fault{CodeParse, fmt.Sprintf("%d characters starting %s are no number", len(s), quoted(s))}
	}
	if i := strings.IndexFunc(s, notOfNumber); i >= 0 {
		if s[i] == ',' && i > 0 {
			return math.NaN(), Fault{CodeParse, quoted(s) + " has a comma; write the decimal point, and no thousands"}
		}
		return math.NaN(), Fault{CodeParse, quoted(s) + " is no number"}
	}
	x, err := strconv.ParseFloat(s, 64)
	switch {
	case errors.Is(err, strconv.ErrRange):
		return math.NaN(), Fault{CodeInfinite, quoted(s)}
	case err != nil:
		return math.NaN(), Fault{CodeParse, quoted(s) + " is no number"}
	}
	return x, Fault{}
}

// notOfNumber keeps out what strconv takes beyond decimal numbers: hexadecimal
// floats and underscores.
func notOfNumber(r rune) bool {
	return (r < '0' || r > '9') && !strings.ContainsRune("+-.eE", r)
}

// quoted shows the beginning of text so that it cannot break a line or a label.
func quoted(s string) string {
	const most = 24
	if len(s) > most {
		return strconv.QuoteToASCII(s[:most]) + "…"
	}
	return strconv.QuoteToASCII(s)
}

// ParseSwitch reads the words used for a switch; ok is false for all others.
// "open" and "closed" are not among them: which of the two means on depends on
// the contact.
func ParseSwitch(text string) (set, ok bool) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "true", "on", "yes", "active", "running":
		return true, true
	case "false", "off", "no", "inactive", "stopped":
		return false, true
	}
	return false, false
}
