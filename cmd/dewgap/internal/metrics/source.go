package metrics

import (
	"maps"
	"slices"
	"strings"
	"time"

	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/collector"
)

const (
	// maxReasons bounds the reasons of one source; the rest are summed as "other".
	maxReasons = 40
	// maxReasonLength bounds a reason; codes are short, details are not for labels.
	maxReasonLength = 48
)

func (e *emitter) source(st *collector.Status, at time.Time, age time.Duration) {
	e.flag(sourceUp, st.Up && age <= snapshot.MaxAge, st.Name)
	counts := byCode(st.Errors)
	for _, reason := range slices.Sorted(maps.Keys(counts)) {
		e.counter(sourceErrors, float64(counts[reason]), st.Name, reason)
	}
	e.counter(sourceRequests, float64(st.Requests), st.Name)
	e.counter(sourceReconnects, float64(st.Reconnects), st.Name)
	e.counter(sourceLate, float64(st.LateCycles), st.Name)
	e.gauge(sourceResting, float64(len(st.Resting)), st.Name)
	if !st.LastSeen.IsZero() {
		e.gauge(sourceAge, max(0, at.Sub(st.LastSeen).Seconds()), st.Name)
	}
	if st.Cycle > 0 {
		e.gauge(sourceCycle, st.Cycle.Seconds(), st.Name)
	}
}

// byCode sums errors by their code, the part before the first colon. What
// comes from the field cannot make series without end.
func byCode(errors map[string]uint64) map[string]uint64 {
	counts := map[string]uint64{}
	for _, reason := range slices.Sorted(maps.Keys(errors)) {
		code, _, _ := strings.Cut(reason, ":")
		code = strings.ToValidUTF8(code, "\uFFFD")
		if r := []rune(code); len(r) > maxReasonLength {
			code = string(r[:maxReasonLength])
		}
		if _, known := counts[code]; !known && len(counts) >= maxReasons {
			code = "other"
		}
		counts[code] += errors[reason]
	}
	return counts
}

// receiver sends how a receiver of remote write is served.
func (e *emitter) receiver(r *snapshot.Receiver, at time.Time) {
	if !r.UpTo.IsZero() {
		e.gauge(remoteBehind, max(0, at.Sub(r.UpTo).Seconds()), r.Name)
	}
	e.counter(remoteSamples, float64(r.Samples), r.Name)
	e.counter(remoteFails, float64(r.Failures), r.Name)
	for _, why := range []string{"refused", "too_old", "too_large"} {
		e.counter(remoteLost, float64(r.Rejected[why]), r.Name, why)
	}
}

// daemon sends what concerns the program itself.
func (e *emitter) daemon(s *snapshot.Snapshot, age time.Duration) {
	e.counter(lateRows, float64(s.LateRows))
	e.counter(journalErrors, float64(s.Journal.Errors))
	e.gauge(journalWait, float64(s.Journal.Waiting))
	e.gauge(journalLost, float64(s.Journal.Recovered.Damaged))
	e.counter(ledgerErrors, float64(s.LedgerErrors))
	for _, f := range s.AllFaults() {
		e.flag(faultActive, true, f.What)
	}
	for _, what := range []string{"journal", "journal_unread", "ledger", "ledger_unread", "trends", "config", "disk_space"} {
		e.flag(faultActive, false, what)
	}
	e.flag(faultActive, age > snapshot.MaxAge, "main_loop")
}
