package modbus

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"dewgap/collector"
)

// recordResult updates the back-offs and the status after an exchange that took
// cost. Each change of state is logged once.
func (s *Source) recordResult(b *block, f *Failure, now time.Time, cost time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := &s.status
	st.Requests = s.bus.requests
	if s.bus.dials > 0 {
		st.Reconnects = s.bus.dials - 1
	}
	if f != nil {
		st.Errors[f.Kind]++
	}
	unit := s.units[b.unit]
	switch {
	case f == nil || f.isException() && !f.ofUnit():
		st.LastSeen = now
		if unit.suspect() {
			s.log.Info("unit answers again", "unit", b.unit)
		}
		unit.succeeded()
		s.busBackoff.succeeded()
		s.markUp(now)
		if f == nil {
			b.backoff.succeeded()
			st.Delivered = true
		} else if len(b.points) == 1 && (f.Code == illegalAddr || f.Code == illegalValue || f.Code == illegalFunc) {
			b.backoff.failed(now, cost, maxBackoff, f.Reason(), s.random)
		}
	case f.ofUnit():
		if s.suspect(b) {
			s.probeBudget.failed(now, cost, s.random)
		}
		unit.failed(now, cost, maxBackoff, f.Reason(), s.random)
		b.backoff.failed(now, cost, maxBackoff, f.Reason(), s.random)
		if unit.failures == 2 {
			s.log.Warn("unit is not polled for a while", "unit", b.unit, "reason", f.Reason(), "until", unit.until)
		}
		if f.isException() {
			s.busBackoff.succeeded() // the gateway itself answered
			s.markUp(now)
		} else if s.allResting() {
			s.markDown(now, f.Reason())
		}
	case f.ofBus():
		s.busBackoff.failed(now, 0, maxRedial, f.Reason(), s.random)
		s.markDown(now, f.Reason())
	}
}

// allResting reports whether no unit of the bus answers.
func (s *Source) allResting() bool {
	for _, u := range s.units {
		if !u.silent() {
			return false
		}
	}
	return true
}

func (s *Source) markUp(now time.Time) {
	if !s.status.Up {
		s.status.Up, s.status.Since, s.status.Reason = true, now, ""
		s.log.Info("bus answers", "address", s.settings.Address)
	}
}

func (s *Source) markDown(now time.Time, reason string) {
	if s.status.Up || s.status.Since.IsZero() {
		s.status.Up, s.status.Since = false, now
		s.log.Warn("bus is down", "address", s.settings.Address, "reason", reason)
	}
	s.status.Reason = reason
}

// Status returns the state of the bus.
func (s *Source) Status() collector.Status {
	now := s.clock.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	st := s.status
	st.Errors = maps.Clone(st.Errors)
	for _, unit := range slices.Sorted(maps.Keys(s.units)) {
		if r := s.units[unit]; r.resting(now) {
			st.Resting = append(st.Resting, fmt.Sprintf("unit %d until %s (%s)", unit, r.until.Format("15:04:05"), r.reason))
		}
	}
	return st
}
