// Package mqtt subscribes to readings at a broker. It publishes nothing.
//
// It may import the MQTT client library, collector, register, reading.
package mqtt

import (
	"fmt"
	"io"
	"time"

	"dewgap/collector/register"
)

// Settings of one broker and all that is subscribed there.
type Settings struct {
	Name     string
	URL      string // tcp://, ssl://, ws://, wss://
	ClientID string // default made from site and broker name
	Username string
	Password Secret
	CAFile   string
	CertFile string
	KeyFile  string
	QoS      byte
	// MaxSkew is how far a payload's time stamp may lie from now; default 60 s.
	MaxSkew time.Duration
	// MaxPayload in bytes; a larger message is refused; default 64 KiB.
	MaxPayload int
	// Silence after which the broker counts as not delivering; default 60 s.
	Silence time.Duration
	Points  []Point
}

// Secret masks itself when printed.
type Secret string

// String hides the secret.
func (Secret) String() string { return "(hidden)" }

// GoString hides the secret.
func (Secret) GoString() string { return "(hidden)" }

// Format hides the secret from every verb.
func (s Secret) Format(f fmt.State, _ rune) { _, _ = io.WriteString(f, s.String()) }

// MarshalText hides the secret from JSON, TOML and the log.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Point is one input in a topic's messages.
type Point struct {
	Index       int // in the site's list of points
	Path        string
	Topic       string // without wildcards
	Pointer     string // JSON Pointer (RFC 6901); empty for a plain number
	TimePointer string // JSON Pointer to the time stamp; empty when none
	TimeFormat  TimeFormat
	Mapping     register.Mapping
}

// TimeFormat of a payload's time stamp.
type TimeFormat uint8

// Time formats. Auto takes RFC 3339 text, or a number judged by its size.
const (
	AutoTime TimeFormat = iota
	RFC3339
	UnixSeconds
	UnixMilliseconds
)
