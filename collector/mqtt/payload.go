package mqtt

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"dewgap/analyze/reading"
	"dewgap/collector/register"
)

// message is what arrived on a topic last.
type message struct {
	payload  []byte
	size     int // of the payload, as far as it was kept; payload is nil when it was too large
	retained bool
	arrived  time.Time
}

// document is a payload taken apart once for all points of its topic.
type document struct {
	text  string
	tree  any
	fault register.Fault // the payload is nothing at all
	json  register.Fault // the payload is no JSON
}

// open takes a payload apart. JSON is parsed only when a point asks for it.
func open(m message, limit int, wantJSON bool) document {
	switch {
	case m.size > limit:
		return document{fault: register.Fault{Code: tooLarge, Detail: fmt.Sprintf("more than the %d bytes that are read", limit)}}
	case m.size == 0:
		return document{fault: register.Fault{Code: register.CodeNoData, Detail: "empty payload"}}
	case !utf8.Valid(m.payload):
		return document{fault: register.Fault{Code: register.CodeParse, Detail: "payload is not UTF-8 text"}}
	}
	d := document{text: string(m.payload)}
	if !wantJSON {
		return d
	}
	// A publisher's last will is often one word on the topic of the values.
	if _, f := register.ParseNumber(d.text); f.Code == register.CodeNoData {
		d.fault = f
		return d
	}
	if !shallow(d.text) {
		d.json = register.Fault{Code: register.CodeParse, Detail: fmt.Sprintf("nested deeper than %d levels", maxDepth)}
		return d
	}
	dec := json.NewDecoder(strings.NewReader(d.text))
	dec.UseNumber()
	if err := dec.Decode(&d.tree); err != nil {
		d.json = register.Fault{Code: register.CodeParse, Detail: "not JSON: " + err.Error()}
	} else if dec.More() {
		d.json = register.Fault{Code: register.CodeParse, Detail: "more than one JSON value"}
	}
	return d
}

// maxDepth of objects and lists in a payload. Publishers use three or four.
const maxDepth = 32

// shallow reports whether JSON is nested no deeper than maxDepth. It reads
// brackets outside of texts and leaves everything else to the decoder.
func shallow(text string) bool {
	depth, quoted := 0, false
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case quoted && c == '\\':
			i++
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '{', c == '[':
			if depth++; depth > maxDepth {
				return false
			}
		case c == '}', c == ']':
			depth--
		}
	}
	return true
}

// decoded is the content of a message for one point.
type decoded struct {
	value float64
	stamp time.Time // zero when the message carries none
	fault register.Fault
}

// read finds a point's value and time stamp in the document. now is the
// daemon's time.
func (d *document) read(p *Point, retained bool, now time.Time, skew time.Duration) decoded {
	out := decoded{value: math.NaN(), fault: d.fault}
	if out.fault.Failed() {
		return out
	}
	var node any
	if p.Pointer != "" {
		// The value comes first: a publisher's last will has no time either.
		if node, out.fault = d.find(p.Pointer); out.fault.Failed() {
			return out
		}
	}
	if out.stamp, out.fault = d.time(p); out.fault.Failed() {
		return out
	}
	if out.fault = judgeAge(out.stamp, retained, now, skew); out.fault.Failed() {
		return out
	}
	if p.Pointer == "" {
		out.value, out.fault = p.Mapping.ValueOfText(d.text)
	} else {
		out.value, out.fault = valueOf(node, &p.Mapping)
	}
	return out
}

// find looks up a value; a missing one and null are no data.
func (d *document) find(pointer string) (any, register.Fault) {
	if d.json.Failed() {
		return nil, d.json
	}
	node, found := resolvePointer(d.tree, pointer)
	switch {
	case !found:
		return nil, register.Fault{Code: register.CodeNoData, Detail: "the message has no " + pointer}
	case node == nil:
		return nil, register.Fault{Code: register.CodeNoData, Detail: "null"}
	}
	return node, register.Fault{}
}

// valueOf maps one JSON value. A number as text is taken as that number.
func valueOf(node any, m *register.Mapping) (float64, register.Fault) {
	switch v := node.(type) {
	case json.Number:
		return m.ValueOfText(string(v))
	case string:
		return m.ValueOfText(v)
	case bool:
		return m.ValueOfBit(v)
	case []any:
		return math.NaN(), register.Fault{Code: register.CodeParse, Detail: "a list is no number"}
	}
	return math.NaN(), register.Fault{Code: register.CodeParse, Detail: "an object is no number; the pointer must go on"}
}

// judgeAge reports whether a message may set a fresh reading. A retained message
// without a stamp may be a week old; one with an old stamp is just old; a
// live one with a stamp far from now has a publisher with a wrong clock.
func judgeAge(stamp time.Time, retained bool, now time.Time, skew time.Duration) register.Fault {
	if stamp.IsZero() {
		if retained {
			return register.Fault{Code: register.CodeNoData, Detail: "retained message of unknown age; add a time stamp to the payload"}
		}
		return register.Fault{}
	}
	off := stamp.Sub(now)
	switch {
	case off.Abs() <= skew:
		return register.Fault{}
	case off < 0 && retained:
		return register.Fault{Code: register.CodeNoData, Detail: "retained message, " + (-off).Round(time.Second).String() + " old"}
	case off < 0:
		return register.Fault{Code: reading.Skewed, Detail: "time stamp is " + (-off).Round(time.Second).String() + " behind; set the publisher's clock"}
	}
	return register.Fault{Code: reading.Skewed, Detail: "time stamp is " + off.Round(time.Second).String() + " ahead; set the publisher's clock"}
}

// time finds the time stamp of a point's message.
func (d *document) time(p *Point) (time.Time, register.Fault) {
	if p.TimePointer == "" {
		return time.Time{}, register.Fault{}
	}
	if d.json.Failed() {
		return time.Time{}, d.json
	}
	node, found := resolvePointer(d.tree, p.TimePointer)
	if !found {
		return time.Time{}, register.Fault{Code: register.CodeParse, Detail: "the message has no time stamp " + p.TimePointer}
	}
	var text string
	switch v := node.(type) {
	case json.Number:
		text = string(v)
	case string:
		text = strings.TrimSpace(v)
	}
	t, err := parseTime(text, p.TimeFormat)
	if err != nil {
		return time.Time{}, register.Fault{Code: register.CodeParse, Detail: err.Error()}
	}
	return t, register.Fault{}
}

// firstMilliseconds is the number from which Auto takes milliseconds: as
// seconds it would be the year 5138, as milliseconds it is 1973.
const firstMilliseconds = 1e11

func parseTime(text string, format TimeFormat) (time.Time, error) {
	number, err := strconv.ParseFloat(text, 64)
	isNumber := err == nil && number > 0 && number < 1e14
	switch {
	case isNumber && format == AutoTime && number < firstMilliseconds, isNumber && format == UnixSeconds:
		if number >= firstMilliseconds {
			break
		}
		whole, part := math.Modf(number)
		return time.Unix(int64(whole), int64(part*1e9)).UTC(), nil
	case isNumber && format != RFC3339:
		return time.UnixMilli(int64(number)).UTC(), nil
	case format == AutoTime || format == RFC3339:
		if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
			return t.UTC(), nil
		}
	}
	if len(text) > 40 {
		text = text[:40]
	}
	want := "RFC 3339 with a zone"
	switch format {
	case UnixSeconds:
		want = "seconds since 1970"
	case UnixMilliseconds:
		want = "milliseconds since 1970"
	case AutoTime:
		want += ", or seconds or milliseconds since 1970"
	}
	return time.Time{}, fmt.Errorf("time stamp %q; want %s", text, want)
}

// resolvePointer follows a JSON Pointer (RFC 6901) into a tree.
func resolvePointer(node any, pointer string) (any, bool) {
	for pointer != "" {
		if pointer[0] != '/' {
			return nil, false
		}
		token, rest := pointer[1:], ""
		if i := strings.IndexByte(token, '/'); i >= 0 {
			token, rest = token[:i], token[i:]
		}
		pointer = rest
		switch n := node.(type) {
		case map[string]any:
			member, ok := n[unescape.Replace(token)]
			if !ok {
				return nil, false
			}
			node = member
		case []any:
			i, err := strconv.ParseUint(token, 10, 31)
			if err != nil || int(i) >= len(n) || len(token) > 1 && token[0] == '0' {
				return nil, false
			}
			node = n[i]
		default:
			return nil, false
		}
	}
	return node, true
}

// unescape works from left to right, so that ~01 is ~1.
var unescape = strings.NewReplacer("~1", "/", "~0", "~")

// CheckPointer returns what is wrong with a JSON Pointer, or nil.
func CheckPointer(pointer string) error {
	if pointer != "" && pointer[0] != '/' {
		return fmt.Errorf("JSON pointer %q does not begin with /; want /%s", pointer, pointer)
	}
	for i := range len(pointer) {
		if pointer[i] == '~' && (i+1 == len(pointer) || pointer[i+1] != '0' && pointer[i+1] != '1') {
			return fmt.Errorf("JSON pointer %q: ~ is written ~0, and / inside a name ~1", pointer)
		}
	}
	return nil
}
