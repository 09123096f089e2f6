// Package collector reads devices. One owner for each bus or broker; nothing
// else touches the wire. Sources put readings into a Sink; the Hub hands the
// newest of each point to analysis as rows.
//
// It may import analyze/reading and the standard library. The live sources are
// its sub-packages; it must never import analysis proper, alert or config.
package collector

import (
	"context"
	"time"

	"dewgap/analyze/reading"
)

// Sink takes readings. Put never blocks and may be called from any goroutine.
type Sink interface {
	Put(reading.Reading)
}

// Source is a bus or a broker. Run reads until ctx ends and then returns nil;
// it returns an error only for a fault that no retry can repair.
type Source interface {
	Name() string
	Run(ctx context.Context, out Sink) error
	Status() Status
}

// Status is the state of a source, for metrics, log and page.
type Status struct {
	Name       string
	Kind       string // "modbus tcp", "modbus rtu", "mqtt"
	Address    string // without secrets
	Up         bool   // the last exchange succeeded, or messages arrive
	Delivered  bool   // has delivered at least once
	Since      time.Time
	LastSeen   time.Time         // of the last answer or message; zero before the first
	Reason     string            // why it is down, or what is wrong though it is up; for a technician
	Errors     map[string]uint64 // by reason code
	Requests   uint64
	Reconnects uint64
	Cycle      time.Duration // how long the bus was busy in its last cycle, which reads each point at least once
	LateCycles uint64
	Resting    []string // units that are not polled after failures, each with the time of the next try
}

// Clock is the daemon's only source of time, so that the demo can run the
// unchanged daemon on an accelerated plant. Network deadlines stay real.
type Clock interface {
	Now() time.Time
	// Until waits until the clock shows t or ctx ends, and then returns ctx.Err.
	// A clock that goes back fails it with ErrSetBack.
	Until(ctx context.Context, t time.Time) error
}
