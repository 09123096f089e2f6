package daemon

import (
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/collector"
)

func TestNotesAreData(t *testing.T) {
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		item evidence.Item
		want evidence.Item
	}{
		{clockStep(collector.Jump{By: time.Hour}), evidence.New(evidence.ClockForward, evidence.Duration("step", time.Hour))},
		{clockStep(collector.Jump{By: -20 * time.Second, Ahead: 19 * time.Second}), evidence.New(evidence.ClockBack, evidence.Duration("step", 20*time.Second), evidence.Duration("ahead", 19*time.Second))},
		{clockStep(collector.Jump{By: -time.Hour, Restarted: true}), evidence.New(evidence.ClockRestarted, evidence.Duration("step", time.Hour))},
		{gapOf(alert.Gap{From: at, To: at.Add(90 * time.Second)}), evidence.New(evidence.DataGap, evidence.Duration("gap", 90*time.Second))},
		{gapOf(alert.Gap{From: at, To: at.Add(-90 * time.Second)}), evidence.New(evidence.DataGap, evidence.Duration("gap", 90*time.Second))},
	} {
		if !tc.item.Equal(tc.want) {
			t.Errorf("got %+v, want %+v", tc.item, tc.want)
		}
		if err := evidence.Check(tc.item); err != nil {
			t.Error(err)
		}
	}
}
