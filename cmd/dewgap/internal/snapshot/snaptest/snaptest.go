// Package snaptest holds invented snapshots for the tests of whatever shows one.
// Nothing but tests may import it.
package snaptest

import (
	"math"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/collector"
)

// Noon is the time of the snapshots.
var Noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// EveryState is an invented site with a compressor in each state.
func EveryState() *snapshot.Snapshot {
	nan := units.Kelvin(math.NaN())
	st := func(name string, p frame.Phase, q reading.Quality, reason string, superheat, floor units.Kelvin) analyze.State {
		return analyze.State{Time: Noon, Group: "mt", Name: name, Phase: p, Quality: q, Reason: because(reason), Superheat: superheat, Floor: floor,
			Margin: superheat - floor, Uncertainty: 2.1, SuctionPressure: 2.21e5, Dew: -9.4, SuctionTemperature: units.Celsius(-9.4 + float64(superheat))}
	}
	open := alert.Event{ID: "mt.c3-floodback-20260301T115800Z", Kind: "floodback", Severity: "minor", Site: "orchard-hall", Group: "mt", Compressor: "c3",
		Opened: Noon.Add(-2 * time.Minute), Began: Noon.Add(-150 * time.Second), Phase: "pulldown", FloorK: ptr(8), MinSuperheatK: ptr(0.6), MinMarginK: ptr(-7.4),
		SecondsBelow: 150, KelvinSecondsBelow: 910, Circuits: []alert.Score{{Name: "case-1", Score: .83, Why: evidence.Sentences([]string{"ended its defrost 4 min before"})}, {Name: "case-2", Score: .11}},
		Causes:   []alert.Cause{{Cause: "valve_oversized", Score: .61, Why: evidence.Sentences([]string{"dips after every defrost"})}, {Cause: "load_change_after_defrost", Score: .24}},
		Evidence: evidence.Sentences([]string{"Superheat stayed 7 K below the floor of 8 K after the defrost of case-1.", "The line sits at dew within its uncertainty: wet gas."})}
	blind := alert.Event{ID: "mt.c5.suction_temperature-no_data-20260301T115000Z", Kind: "no_data", Severity: "warning", Site: "orchard-hall", Group: "mt", Compressor: "c5",
		Opened: Noon.Add(-10 * time.Minute), Began: Noon.Add(-11 * time.Minute), Phase: "unknown", Circuits: []alert.Score{}, Causes: []alert.Cause{},
		Input: "mt.c5.suction_temperature", Evidence: evidence.Sentences([]string{"No reading since 11:49:00."})}
	closed := open
	closed.ID, closed.Opened, closed.Closed = "mt.c2-floodback-20260301T060000Z", Noon.Add(-6*time.Hour), timePtr(Noon.Add(-5*time.Hour))
	s := &snapshot.Snapshot{
		Site: "orchard-hall", Mode: "demo", Note: "invented plant, time runs 30 times faster", Units: "si", Time: Noon,
		Refrigerants: map[string]string{"mt": "R448A", "lt": "R449A"},
		States: []analyze.State{
			st("c1", frame.Steady, reading.Good, "", 14.2, 11), st("c2", frame.Steady, reading.Good, "", 12.1, 11), st("c3", frame.Pulldown, reading.Good, "", 1.2, 8),
			st("c4", frame.Off, reading.Good, "", nan, nan), st("c5", frame.Unknown, reading.Missing, "suction temperature: timeout: no answer within 800 ms", nan, 11),
			st("c6", frame.Defrost, reading.Suspect, "suction temperature: frozen for 2 h", 9.5, 11),
		},
		Points: []reading.Point{{Path: "mt.suction_pressure", Group: "mt", Role: reading.SuctionPressure},
			{Path: "mt.c5.suction_temperature", Group: "mt", Member: "c5", Role: reading.SuctionTemperature}},
		Inputs: []analyze.Input{{Value: 2.21e5, At: Noon, Quality: reading.Good}, {Value: math.NaN(), At: Noon.Add(-11 * time.Minute), Quality: reading.Missing, Reason: &evidence.Item{Code: evidence.Sentence, Text: "timeout: no answer within 800 ms"}}},
		Open:   []alert.Event{blind, open}, Recent: []alert.Event{closed},
		Sources: []collector.Status{{Name: "rack-io", Kind: "modbus tcp", Address: "192.0.2.10:502", Up: true, Delivered: true, Since: Noon.Add(-time.Hour)},
			{Name: "cases", Kind: "mqtt", Address: "192.0.2.11:1883", Delivered: true, Since: Noon.Add(-11 * time.Minute), Reason: "connection refused", Errors: map[string]uint64{"refused": 14}}},
		Targets: []snapshot.Target{{Name: "on-call", Kind: "webhook", Address: "https://hooks.example", Told: 12, Last: Noon.Add(-time.Hour), Failures: 2}},
		Totals:  []alert.Totals{{Group: "mt", Compressor: "c3", FloodbackSeconds: 1320, FloodbackKelvinSeconds: 5400}},
	}
	for i := range s.States {
		s.States[i].Compressor = i
	}
	return s
}

func ptr(v float64) *float64 { return &v }

func timePtr(t time.Time) *time.Time { return &t }

// because returns a reason in plain words; nil for none.
func because(words string) *evidence.Item {
	if words == "" {
		return nil
	}
	return &evidence.Item{Code: evidence.Sentence, Text: words}
}
