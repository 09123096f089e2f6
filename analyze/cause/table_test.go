package cause

import (
	"math"
	"slices"
	"strings"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
)

// neutral is evidence in which hardly a feature is plain: a floodback has begun,
// no defrost came before it.
func neutral() features {
	return features{
		kind: frame.Electric, circuits: 3, measured: 3, outlet: true, air: true, hotGasOn: nan, ran: 3600, theirs: nan,
		ago: math.Inf(1), otherAgo: math.Inf(1), lasted: 200,
		low: 6, high: 6, normal: 6, mostlyLow: 0.27, sank: nan, relief: nan, swing: 1, otherSwings: 1,
		airOver: nan, gapOver: nan, gapRelief: nan, leap: nan, leapShare: nan,
		peak: nan, length: 1500, lengths: 1500, plateau: 400, plateaus: 400,
		dewOver: nan, drawOver: nan, headOver: nan, offRise: nan, wettest: nan, driest: nan,
		superheat: 6, minuteAgo: 6, spread: 2, liquid: nan, twins: nan,
	}
}

// odds are factors of the odds of causes, those of "unknown" being 1. A cause
// that is not named keeps its odds.
type odds map[string]float64

// TestOddsBeforeAnyEvidence pins how often each cause is behind a floodback
// when nothing is known. Common practice, no source: valves and ice are common,
// vessels too where there are any; a false reading or a failed defrost needs
// evidence.
func TestOddsBeforeAnyEvidence(t *testing.T) {
	d := degrees{always: 1}
	compareOdds(t, "nothing known", causeLogOdds(&degrees{}), causeLogOdds(&d), odds{"valve_stuck_open": 5.47, "valve_oversized": 1.82, "valve_hunting": 2.01, "iced_coil": 3.32, "defrost_incomplete": 1 / 3.32, "low_airflow": 1.35, "load_change_after_defrost": 1 / 1.49, "overcharge": 1 / 1.65, "accumulator_full": 3.67, "hot_gas_carryover": 1 / 2.23, "sensor_misplaced": 1 / 2.46, "unknown": 1 / 1.00})
}

// TestEvidenceMovesOdds draws a floodback with and without one thing to see, and
// pins by which factor that moves the odds of each cause. The reasons are the
// trade's; the factors are common practice put into figures, no source.
func TestEvidenceMovesOdds(t *testing.T) {
	for _, c := range []struct {
		seen, because string
		from, to      func(f *features) // from nil: neutral
		want          odds
	}{
		{
			"after_defrost", "a warm coil takes a rush of liquid: the load, a large valve, a vessel that fills",
			nil, func(f *features) { f.ago = 600 },
			odds{"valve_oversized": 3.32, "valve_hunting": 1 / 1.11, "load_change_after_defrost": 36.6, "accumulator_full": 1.82},
		},
		{
			"at_restart", "an open valve or trapped condensate comes with the restart, a rush of load some minutes later",
			func(f *features) { f.ago = 600 }, func(f *features) { f.ago = 60 },
			odds{"valve_oversized": 1.49, "load_change_after_defrost": 1 / 9.03},
		},
		{
			"other_circuit_defrosted", "the rush after a defrost is in the circuit that defrosted",
			nil, func(f *features) { f.otherAgo = 600 },
			odds{"valve_hunting": 1 / 1.11, "load_change_after_defrost": 3.67},
		},
		{
			"defrost_unseen", "where no input shows a defrost, a dip may be the rush after one",
			func(f *features) { f.blind = true }, func(f *features) { f.minuteAgo = f.superheat + 4 },
			odds{"valve_hunting": 1 / 1.11, "load_change_after_defrost": 14.9},
		},
		{
			"hot_gas_ended", "condensate that is left in the coil comes as the hot gas ends",
			func(f *features) { f.ago = 30 }, func(f *features) { f.kind = frame.HotGas },
			odds{"load_change_after_defrost": 1 / 2.23, "hot_gas_carryover": 33.1},
		},
		{
			"hot_gas_ended, of an unknown kind of defrost", "the kind of defrost is not stated: hot gas is possible",
			func(f *features) { f.ago = 30 }, func(f *features) { f.kind = frame.DefrostUnset },
			odds{"load_change_after_defrost": 1 / 1.62, "hot_gas_carryover": 8.17},
		},
		{
			"hot_gas_unseen", "where no input shows a hot-gas defrost, a short dip may be its condensate",
			func(f *features) { f.kind = frame.HotGas }, func(f *features) { f.blind = true },
			odds{"hot_gas_carryover": 7.39},
		},
		{
			"hot_gas_on", "while hot gas goes through a coil, its valve is shut and its condensate is liquid",
			nil, func(f *features) { f.kind, f.hotGasOn = frame.HotGas, 200 },
			odds{"load_change_after_defrost": 1.10, "hot_gas_carryover": 90, "valve_hunting": 1 / 1.11},
		},
		{
			"at_own_start", "a lone machine that floods at each start: its valve overshoots, or surplus lies in the coil",
			func(f *features) { f.circuits, f.measured, f.ran = 1, 1, 60 }, func(f *features) { f.starts = 3 },
			odds{"valve_oversized": 2.23, "valve_hunting": 2.23, "overcharge": 2.23},
		},
		{
			"only_circuit_feeds", "nothing shuts between the sides: a capillary, and charge is critical",
			func(f *features) { f.circuits, f.measured = 1, 1 }, func(f *features) { f.offRise = 7.9 },
			odds{"valve_stuck_open": 1 / 1.65, "valve_oversized": 1 / 4.48, "valve_hunting": 1 / 4.48, "overcharge": 2.72},
		},
		{
			"only_circuit_shuts", "a valve shuts, so charge is rarely critical",
			func(f *features) { f.circuits, f.measured = 1, 1 }, func(f *features) { f.offRise = 1 },
			odds{"overcharge": 1 / 4.48},
		},
		{
			"outlet_dry", "the liquid does not come from a coil whose outlet is dry",
			func(f *features) { f.superheat, f.low = 1, 1.5 }, func(f *features) { f.low = 6 },
			odds{"valve_stuck_open": 1 / 2.72, "iced_coil": 1 / 3.00, "defrost_incomplete": 1 / 2.72, "low_airflow": 1 / 2.72, "overcharge": 1 / 2.23, "accumulator_full": 2.23},
		},
		{
			"short_defrost", "a defrost far shorter than the neighbours' left ice, which explains a low outlet",
			func(f *features) { f.defrosts, f.peak, f.lengths = 1, 9, nan }, func(f *features) { f.theirs = 2 * f.length / 0.7 },
			odds{"iced_coil": 9.03, "defrost_incomplete": 36.6, "valve_stuck_open": 1 / 12.2, "valve_hunting": 1 / 2.72, "valve_oversized": 1 / 2.72},
		},
		{
			"longer_than_neighbours", "heat that needs twice the neighbours' time is weak, or the ice is thick",
			func(f *features) { f.defrosts, f.peak, f.lengths = 1, 9, nan }, func(f *features) { f.theirs = f.length / 2.3 },
			odds{"iced_coil": 13.5, "defrost_incomplete": 54.6, "valve_stuck_open": 1 / 12.2},
		},
		{
			"sudden_fall", "a rush comes within a minute, a stuck valve is wet before",
			func(f *features) { f.lasted = 90 }, func(f *features) { f.minuteAgo = f.superheat + 8 },
			odds{"valve_stuck_open": 1 / 5.47, "load_change_after_defrost": 1.82},
		},
		{
			"feeds_while_stopped", "a valve that does not shut lets the high side blow through at a stop",
			nil, func(f *features) { f.offRise = 16 },
			odds{"valve_stuck_open": 1.82},
		},
		{
			"only_circuit", "small units with one circuit are critically charged and have no vessel",
			nil, func(f *features) { f.circuits, f.measured = 1, 1 },
			odds{"overcharge": 20.1, "accumulator_full": 1 / 3.32},
		},
		{
			"outlet_low", "a wet outlet clears the vessel",
			nil, func(f *features) { f.low = 2.4 },
			odds{"iced_coil": 1.11, "overcharge": 2.23, "accumulator_full": 1 / 2.23},
		},
		{
			"outlet_low_and_still", "a stuck valve or a fixed restriction is steady, a large or hunting valve is not",
			func(f *features) { f.low = 2.4 }, func(f *features) { f.swing = 0.3 },
			odds{"valve_stuck_open": 6.69, "valve_oversized": 1 / 12.2, "valve_hunting": 1 / 2.23, "overcharge": 2.72},
		},
		{
			"outlet_stays_at_dew", "what does not come up is not hunting",
			nil, func(f *features) { f.high = 1 },
			odds{"valve_stuck_open": 1.35, "valve_hunting": 1 / 1.82, "iced_coil": 1.35, "low_airflow": 1.35},
		},
		{
			"outlet_usually_low", "a stuck valve is low all the time; a large one is right at full load; a rush passes",
			nil, func(f *features) { f.mostlyLow = 0.8 },
			odds{"valve_stuck_open": 5.47, "valve_oversized": 1 / 3.00, "valve_hunting": 1 / 1.65, "load_change_after_defrost": 1 / 8.17},
		},
		{
			"only_outlet_usually_low", "too much charge in a unit with one circuit is low all the time",
			func(f *features) { f.circuits, f.measured = 1, 1 }, func(f *features) { f.mostlyLow = 0.8 },
			odds{"valve_stuck_open": 5.47, "valve_oversized": 1 / 3.00, "valve_hunting": 1 / 1.65, "load_change_after_defrost": 1 / 8.17, "overcharge": 6.05},
		},
		{
			"outlet_usually_normal", "a circuit that is normal otherwise has a right valve and charge: the load was not",
			nil, func(f *features) { f.mostlyLow = 0.05 },
			odds{"valve_stuck_open": 1 / 5.47, "load_change_after_defrost": 7.39, "overcharge": 1 / 3.00},
		},
		{
			"outlet_fell_at_once", "a valve sticks at once, a charge does not change at once",
			nil, func(f *features) { f.sank = 0.05 },
			odds{"valve_stuck_open": 1.82, "overcharge": 1 / 3.67},
		},
		{
			"outlet_sank_slowly", "ice grows for hours; valves and fans fail at once",
			nil, func(f *features) { f.sank = 0.25 },
			odds{"valve_stuck_open": 1 / 4.48, "valve_hunting": 1 / 2.01, "iced_coil": 4.95, "low_airflow": 1 / 1.65, "overcharge": 1 / 1.49},
		},
		{
			"outlet_swings", "hunting is the swing itself; a large valve hunts at low load; a stuck one stands still",
			nil, func(f *features) { f.swing = 3 },
			odds{"valve_stuck_open": 1 / 2.72, "valve_oversized": 4.06, "valve_hunting": 4.48, "load_change_after_defrost": 1 / 5.47, "overcharge": 1 / 4.48},
		},
		{
			"compressor_superheat_swings", "the swing of a hunting valve reaches the compressor",
			nil, func(f *features) { f.hunts = true },
			odds{"valve_hunting": 12.2},
		},
		{
			"outlet_not_measured", "without an outlet temperature nothing clears ice, air or vessel",
			nil, func(f *features) { f.outlet = false },
			odds{"valve_stuck_open": 1.11, "valve_hunting": 1.11, "accumulator_full": 1.35},
		},
		{
			"all_coils_dry", "liquid that comes from no coil comes from a vessel, or is a false reading",
			func(f *features) { f.superheat, f.wettest = 1, 0.8 }, func(f *features) { f.wettest, f.driest = 0.1, 6 },
			odds{"accumulator_full": 11.0, "sensor_misplaced": 3.32},
		},
		{
			"most_coils_low", "too much charge reaches all coils",
			nil, func(f *features) { f.wetCoils = 3 },
			odds{"overcharge": 6.05},
		},
		{
			"flat_near_dew", "a vessel bleeds evenly",
			func(f *features) { f.superheat, f.lasted = 1, 240 }, func(f *features) { f.spread = 0.5 },
			odds{"accumulator_full": 1.82},
		},
		{
			"lasting", "a rush or condensate is over within minutes, a stuck valve is not",
			nil, func(f *features) { f.lasted = 900 },
			odds{"valve_stuck_open": 2.01, "valve_hunting": 1 / 4.06, "load_change_after_defrost": 1 / 81.5, "hot_gas_carryover": 1 / 54.6},
		},
		{
			"recurs_without_restart", "hunting comes back by itself, what needs a defrost does not",
			nil, func(f *features) { f.recurs = 3 },
			odds{"valve_stuck_open": 1 / 1.35, "valve_hunting": 1.82, "load_change_after_defrost": 1 / 6.05, "overcharge": 2.01, "hot_gas_carryover": 1 / 6.05},
		},
		{
			"defrosts_help", "a defrost melts ice; it mends no fan and frees no valve",
			nil, func(f *features) { f.relief = 3 },
			odds{"valve_stuck_open": 1 / 3.67, "iced_coil": 1.49, "low_airflow": 1 / 4.48},
		},
		{
			"defrosts_help, as the air shows", "air that comes back to dew after a defrost was behind ice",
			nil, func(f *features) { f.gapRelief = 2 },
			odds{"valve_stuck_open": 1 / 3.67, "iced_coil": 1.49, "low_airflow": 1 / 4.48},
		},
		{
			"defrosts_do_not_help", "a defrost mends no fan",
			func(f *features) { f.low, f.mostlyLow = 2.4, 0.8 }, func(f *features) { f.relief = 0 },
			odds{"valve_stuck_open": 1.22, "iced_coil": 1 / 1.11, "low_airflow": 2.23},
		},
		{
			"complete_defrost", "a defrost that got warm in its usual time did finish",
			nil, func(f *features) { f.defrosts, f.peak = 4, 8 },
			odds{"defrost_incomplete": 1 / 2.23},
		},
		{
			"cold_defrost", "a defrost that stays cold leaves ice",
			nil, func(f *features) { f.defrosts, f.peak = 4, 2 },
			odds{"valve_oversized": 1 / 2.23, "iced_coil": 4.06, "defrost_incomplete": 6.69, "low_airflow": 1 / 6.05, "overcharge": 1 / 2.23},
		},
		{
			"long_defrost", "more ice takes longer to melt, or the heat is weak",
			func(f *features) { f.defrosts, f.peak = 4, 8 }, func(f *features) { f.length = 2500 },
			odds{"valve_stuck_open": 1 / 1.11, "iced_coil": 2.23, "defrost_incomplete": 4.06},
		},
		{
			"long_defrost, by its plateau", "the coil stands longer at the melting point",
			func(f *features) { f.defrosts, f.peak = 4, 8 }, func(f *features) { f.plateau = 1300 },
			odds{"valve_stuck_open": 1 / 1.11, "iced_coil": 2.23, "defrost_incomplete": 4.06},
		},
		{
			"warm_air", "ice or a lack of air keeps the heat from the coil; an overfed coil makes cold air",
			nil, func(f *features) { f.gapOver = 3.5 },
			odds{"iced_coil": 33.1, "defrost_incomplete": 1.82, "low_airflow": 2.72, "overcharge": 1 / 14.9, "accumulator_full": 1 / 16.4},
		},
		{
			"very_warm_air", "air so far above dew does not pass the coil",
			func(f *features) { f.gapOver = 3.5 }, func(f *features) { f.gapOver = 7 },
			odds{"valve_stuck_open": 1 / 12.2, "valve_oversized": 1 / 1.65, "valve_hunting": 1 / 4.06, "iced_coil": 2.72, "low_airflow": 11.0, "load_change_after_defrost": 1 / 5.47, "accumulator_full": 1 / 11.0, "hot_gas_carryover": 1 / 4.48},
		},
		{
			"warm_air_after_good_defrost", "a good defrost takes the ice away and mends no fan",
			func(f *features) { f.gapOver = 3.5 }, func(f *features) { f.survived = true },
			odds{"iced_coil": 1 / 7.39, "low_airflow": 12.2},
		},
		{
			"cold_air", "an overfed coil makes cold air",
			nil, func(f *features) { f.airOver = -2 },
			odds{"valve_stuck_open": 2.72, "iced_coil": 1 / 1.35},
		},
		{
			"air_not_measured", "without an air temperature nothing clears ice or a lack of air",
			nil, func(f *features) { f.air = false },
			odds{"iced_coil": 1.82, "low_airflow": 2.01},
		},
		{
			"load_lost_at_once", "a fan stops at once; the coil of an overfed circuit keeps its load",
			func(f *features) { f.gapOver = 3.5 }, func(f *features) { f.leap, f.leapShare = 3, 0.7 },
			odds{"valve_stuck_open": 1 / 9.97, "valve_oversized": 1 / 3.32, "valve_hunting": 1 / 4.48, "iced_coil": 1 / 2.23, "low_airflow": 9.03, "overcharge": 1 / 4.48},
		},
		{
			"load_lost_slowly", "ice takes the load over hours",
			func(f *features) { f.gapOver = 3.5 }, func(f *features) { f.leap, f.leapShare = 3, 0.3 },
			odds{"iced_coil": 2.23, "defrost_incomplete": 1.49, "low_airflow": 1 / 1.35},
		},
		{
			"low_suction", "suction sinks with the load of an iced or airless coil; an overfed coil raises it",
			nil, func(f *features) { f.dewOver = -2.5 },
			odds{"valve_stuck_open": 1 / 2.23, "iced_coil": 3.67, "low_airflow": 5.47, "overcharge": 1 / 2.23},
		},
		{
			"many_compressors_run", "an open valve gives the compressors more to do",
			nil, func(f *features) { f.drawOver = 0.3 },
			odds{"valve_stuck_open": 2.01},
		},
		{
			"few_compressors_run", "an iced or airless coil gives them less",
			nil, func(f *features) { f.drawOver = -0.3 },
			odds{"iced_coil": 1.65, "low_airflow": 1.49},
		},
		{
			"high_condensing", "surplus liquid stands in the condenser",
			nil, func(f *features) { f.headOver = 6 },
			odds{"overcharge": 3.32},
		},
		{
			"dry_discharge", "hot discharge gas was dry: the reading is false, or no liquid came",
			func(f *features) { f.superheat, f.lasted = 0.3, 300 }, func(f *features) { f.liquid = 0 },
			odds{"accumulator_full": 1 / 4.48, "sensor_misplaced": 9.03},
		},
		{
			"other_compressors_dry", "compressors on one header get the same gas",
			func(f *features) { f.superheat = 1 }, func(f *features) { f.twins = 10 },
			odds{"sensor_misplaced": 2.72},
		},
	} {
		f := neutral()
		if c.from != nil {
			c.from(&f)
		}
		without := f.degrees()
		c.to(&f)
		with := f.degrees()
		compareOdds(t, c.seen+": "+c.because, causeLogOdds(&without), causeLogOdds(&with), c.want)
	}
}

// compareOdds allows 2 % in a factor.
func compareOdds(t *testing.T, what string, before, after []float64, want odds) {
	t.Helper()
	unknown := len(causeNames) - 1
	for i, name := range causeNames {
		factor := want[name]
		if factor == 0 {
			factor = 1
		}
		if got := math.Exp(after[i] - before[i] - after[unknown] + before[unknown]); math.Abs(got/factor-1) > 0.02 {
			t.Errorf("%s: odds of %s move by %.3g, want %.3g", what, name, got, factor)
		}
	}
}

// TestTableAndCatalogue holds the table of weights and the catalogue of
// sentences together: each line has its sentence, which supports the cause where
// the weight is above 0 and contradicts it where it is below; no sentence is
// left over.
func TestTableAndCatalogue(t *testing.T) {
	left := map[evidence.Code]bool{}
	for _, code := range evidence.CauseReasons() {
		left[code] = true
	}
	seen := map[string]bool{}
	for n, w := range weights {
		line := w.cause + " " + featureCodes[w.feature]
		if seen[line] || w.logOdds == 0 || featureCodes[w.feature] == "" {
			t.Errorf("%s: twice in the table, or without a weight or a code", line)
		}
		seen[line] = true
		if w.feature == always {
			continue
		}
		for _, measured := range []bool{true, false} {
			code := reasonCodes[n].of(measured)
			if err := evidence.Check(evidence.New(code)); err != nil {
				t.Errorf("%s (%.1f): %v", line, w.logOdds, err)
			}
			delete(left, code)
		}
	}
	for code := range left {
		t.Errorf("the table lacks the line of %s", code)
	}
	for _, c := range causeNames {
		if !seen[c+" always"] {
			t.Errorf("the table lacks the odds of %s before any evidence", c)
		}
		if len(checks[c]) == 0 {
			t.Errorf("%s has no checks", c)
		}
		if inWords[c] == "" {
			t.Errorf("%s has no words for people", c)
		}
	}
	for _, c := range strings.Fields("valve_oversized valve_stuck_open valve_hunting iced_coil low_airflow defrost_incomplete load_change_after_defrost overcharge accumulator_full hot_gas_carryover sensor_misplaced unknown") {
		if !slices.Contains(causeNames, c) {
			t.Errorf("the table lacks %s", c)
		}
	}
}

// TestReasonsNameWhereTheyWereSeen: where the outlet is not measured, the
// reasons are about the superheat at the compressor.
func TestReasonsNameWhereTheyWereSeen(t *testing.T) {
	f := neutral()
	f.swing = 3
	d := f.degrees()
	for measured, want := range map[bool]evidence.Code{true: "valve_hunting_outlet_swings", false: "valve_hunting_outlet_swings_at_compressor"} {
		why := score(&d, &d, measured)[0].Why
		if !slices.ContainsFunc(why, func(i evidence.Item) bool { return i.Code == want }) {
			t.Errorf("outlet measured %v: %v, want %s among them", measured, why, want)
		}
	}
}

// TestReasonsAreOfThisFloodback: what earlier floodbacks alone showed, what is
// hardly plain and what contradicts is no reason.
func TestReasonsAreOfThisFloodback(t *testing.T) {
	var now degrees
	for _, c := range []struct {
		name   string
		all    float64 // degree of outletLowAndStill, earlier floodbacks included
		own    float64 // degree in this floodback
		listed bool
	}{
		{"plain now", 1, 1, true}, {"seen before, not now", 1, 0.2, false}, {"seen before, somewhat now", 1, 0.3, true},
		{"somewhat", 0.2, 0.9, true}, {"hardly", 0.1, 0.9, false}, // 1.9 of log odds times the degree
	} {
		all := now
		all[outletLowAndStill], now[outletLowAndStill] = c.all, c.own
		why := causeReasons("valve_stuck_open", &all, &now, true)
		if got := len(why) == 1 && why[0].Code == "valve_stuck_open_outlet_low_and_still"; got != c.listed {
			t.Errorf("%s: %v", c.name, why)
		}
	}
	now = degrees{outletLowAndStill: 1}
	if why := causeReasons("valve_oversized", &now, &now, true); len(why) > 0 {
		t.Errorf("a feature that contradicts is listed as a reason: %v", why)
	}
}

// TestHardlyLikelyCausesAreLeftOut: a cause of three in a hundred is not worth
// a line; the likeliest is always there.
func TestHardlyLikelyCausesAreLeftOut(t *testing.T) {
	d := degrees{always: 1, warmAir: 1, veryWarmAir: 1}
	for _, r := range score(&d, &d, true) {
		if r.Score < 0.03 {
			t.Errorf("%s with %.3f is listed", r.Name, r.Score)
		}
	}
	d = degrees{always: 1}
	if got := score(&d, &d, true); len(got) < 5 || got[len(got)-1].Score > 0.06 {
		t.Errorf("nothing known: %v", got)
	}
}
