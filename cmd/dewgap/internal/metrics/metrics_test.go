package metrics

import (
	"bytes"
	"flag"
	"fmt"
	"log/slog"
	"math"
	"net/http/httptest"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
	"dewgap/collector"
)

var noon = snaptest.Noon

// fixedBoard is a board with a snapshot of a given age.
type fixedBoard struct {
	s   *snapshot.Snapshot
	age time.Duration
}

func (b fixedBoard) Current() (*snapshot.Snapshot, time.Duration) { return b.s, b.age }

// exampleSnapshot is an invented site: one compressor known, one not.
func exampleSnapshot() *snapshot.Snapshot {
	nan, lowestK := math.NaN(), 3.4
	return &snapshot.Snapshot{
		Site: "demo", Time: noon,
		Points: []reading.Point{
			{Path: "mt.suction_pressure", Group: "mt", Role: reading.SuctionPressure},
			{Path: "mt.c2.suction_temperature", Group: "mt", Member: "c2", Role: reading.SuctionTemperature},
			{Path: "mt.discharge_pressure", Group: "mt", Role: reading.DischargePressure},
			{Path: "mt.c1.discharge_temperature", Group: "mt", Member: "c1", Role: reading.DischargeTemperature},
			{Path: "mt.c1.sump_temperature", Group: "mt", Member: "c1", Role: reading.SumpTemperature},
			{Path: "mt.case-1.coil_outlet_temperature", Group: "mt", Member: "case-1", Role: reading.CoilOutletTemperature},
			{Path: "mt.case-1.air_temperature", Group: "mt", Member: "case-1", Role: reading.AirTemperature},
		},
		Inputs: []analyze.Input{
			{Value: 2.2e5, At: noon.Add(-1500 * time.Millisecond), Quality: reading.Good},
			{Value: nan, Quality: reading.Missing, Reason: &evidence.Item{Code: evidence.Sentence, Text: "timeout"}},
			{Value: 1.1e6, At: noon, Quality: reading.Good},
			{Value: 71.5, At: noon, Quality: reading.Good},
			{Value: 40, At: noon.Add(-time.Minute), Quality: reading.Stale},
			{Value: -4, At: noon, Quality: reading.Good},
			{Value: 2.5, At: noon, Quality: reading.Good},
		},
		Limits:   []analyze.Limit{{Group: "mt", Compressor: "c1", What: analyze.LimitWetness}},
		Circuits: []analyze.CircuitState{{Group: "mt", Name: "case-1", Stage: frame.Dripping}},
		States: []analyze.State{
			{Group: "mt", Name: "c1", Phase: frame.Steady, Quality: reading.Good, Superheat: 11.2, Floor: 11, Margin: 0.2, Uncertainty: 2.1, SuctionPressure: 220000, Dew: -9.5, SuctionTemperature: 1.7},
			{Group: "mt", Name: "c2", Compressor: 1, Phase: frame.Unknown, Quality: reading.Missing, Superheat: units.Kelvin(nan), Floor: 11, Margin: units.Kelvin(nan),
				Uncertainty: units.Kelvin(nan), SuctionPressure: 220000, Dew: -9.5, SuctionTemperature: units.Celsius(nan)},
		},
		Open: []alert.Event{
			{ID: "x", Kind: "floodback", Severity: "minor", Group: "mt", Compressor: "c1", Circuits: []alert.Score{{Name: "case-1"}}, Causes: []alert.Cause{{Cause: "iced_coil"}}},
			{ID: "y", Kind: "no_data", Severity: "warning", Group: "mt", Input: "mt.suction_pressure"},
		},
		Totals: []alert.Totals{
			{Group: "mt", Compressor: "c1", FloodbackSeconds: 170, FloodbackKelvinSeconds: 910, FloodbackWithdrawnSeconds: 20, RunningSeconds: 3600, Starts: 4, LowestInPulldownK: &lowestK,
				PhaseSeconds: map[string]float64{"pulldown": 600, "steady": 3000},
				Events:       []alert.Tally{{Kind: "floodback", Severity: "risk", Opened: 2, Reached: 5}, {Kind: "floodback", Severity: "minor", Opened: 3, Escalated: 1, Reached: 4}}},
			{Group: "mt"},
			{Group: "mt", Circuit: "case-1", Defrosts: 12, Causes: map[string]uint64{"iced_coil": 2}},
		},
		Sources: []collector.Status{{Name: "rack-io", Up: true, Errors: map[string]uint64{"timeout: 800 ms": 2, "timeout: 900 ms": 3},
			LastSeen: noon.Add(-4 * time.Second), Requests: 70, Reconnects: 2, Cycle: 250 * time.Millisecond, LateCycles: 1, Resting: []string{"unit 3 until 12:01:00 (timeout)"}}},
		Targets: []snapshot.Target{{Name: "on-call", Waiting: 3, Failures: 7, Fault: "connection refused"}},
	}
}

func gathered(t *testing.T, b Board, names ...string) string {
	t.Helper()
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(NewCollector(b, Build{"1.0", "go1.26"}))
	if problems, err := testutil.GatherAndLint(registry, names...); err != nil || len(problems) > 0 {
		t.Errorf("linter: %v %v", problems, err)
	}
	w := httptest.NewRecorder()
	Handler(registry, slog.New(slog.DiscardHandler)).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	return w.Body.String()
}

func lines(text, prefix string) []string {
	var out []string
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, prefix) {
			out = append(out, strings.TrimSpace(line))
		}
	}
	return out
}

// The golden text of the contract's section 6. Label order and escapes:
// Prometheus exposition format, shared/checks/prometheus.csv.
func TestGolden(t *testing.T) {
	got := gathered(t, fixedBoard{exampleSnapshot(), 0})
	for prefix, want := range map[string][]string{
		"dewgap_superheat_kelvin{":             {`dewgap_superheat_kelvin{compressor="c1",group="mt",site="demo"} 11.2`},
		"dewgap_superheat_margin_kelvin{":      {`dewgap_superheat_margin_kelvin{compressor="c1",group="mt",site="demo"} 0.2`},
		"dewgap_superheat_uncertainty_kelvin{": {`dewgap_superheat_uncertainty_kelvin{compressor="c1",group="mt",site="demo"} 2.1`},
		"dewgap_suction_temperature_celsius{":  {`dewgap_suction_temperature_celsius{compressor="c1",group="mt",site="demo"} 1.7`},
		"dewgap_superheat_floor_kelvin{": {`dewgap_superheat_floor_kelvin{compressor="c1",group="mt",site="demo"} 11`,
			`dewgap_superheat_floor_kelvin{compressor="c2",group="mt",site="demo"} 11`},
		"dewgap_suction_pressure_pascals{": {`dewgap_suction_pressure_pascals{compressor="c1",group="mt",site="demo"} 220000`,
			`dewgap_suction_pressure_pascals{compressor="c2",group="mt",site="demo"} 220000`},
		"dewgap_suction_dew_celsius{": {`dewgap_suction_dew_celsius{compressor="c1",group="mt",site="demo"} -9.5`,
			`dewgap_suction_dew_celsius{compressor="c2",group="mt",site="demo"} -9.5`},
		`dewgap_phase{compressor="c1"`: {
			`dewgap_phase{compressor="c1",group="mt",phase="defrost",site="demo"} 0`, `dewgap_phase{compressor="c1",group="mt",phase="off",site="demo"} 0`,
			`dewgap_phase{compressor="c1",group="mt",phase="pulldown",site="demo"} 0`, `dewgap_phase{compressor="c1",group="mt",phase="start",site="demo"} 0`,
			`dewgap_phase{compressor="c1",group="mt",phase="steady",site="demo"} 1`, `dewgap_phase{compressor="c1",group="mt",phase="unknown",site="demo"} 0`},
		`dewgap_event_severity{compressor="c1"`: {
			`dewgap_event_severity{compressor="c1",group="mt",kind="floodback",site="demo"} 2`, `dewgap_event_severity{compressor="c1",group="mt",kind="flooded_start",site="demo"} 0`,
			`dewgap_event_severity{compressor="c1",group="mt",kind="high_superheat",site="demo"} 0`, `dewgap_event_severity{compressor="c1",group="mt",kind="hunting",site="demo"} 0`,
			`dewgap_event_severity{compressor="c1",group="mt",kind="no_data",site="demo"} 0`, `dewgap_event_severity{compressor="c1",group="mt",kind="sensor_fault",site="demo"} 0`},
		`dewgap_event_severity{compressor=""`: {
			`dewgap_event_severity{compressor="",group="mt",kind="no_data",site="demo"} 2`, `dewgap_event_severity{compressor="",group="mt",kind="sensor_fault",site="demo"} 0`},
		"dewgap_event_info{": {
			`dewgap_event_info{cause="",circuit="",compressor="",event="y",group="mt",kind="no_data",severity="warning",site="demo"} 1`,
			`dewgap_event_info{cause="iced_coil",circuit="case-1",compressor="c1",event="x",group="mt",kind="floodback",severity="minor",site="demo"} 1`},
		`dewgap_events_total{compressor="c1",group="mt",kind="floodback"`: {`dewgap_events_total{compressor="c1",group="mt",kind="floodback",site="demo"} 5`},
		`dewgap_events_reached_total{compressor="c1",group="mt",kind="floodback"`: {
			`dewgap_events_reached_total{compressor="c1",group="mt",kind="floodback",severity="major",site="demo"} 0`,
			`dewgap_events_reached_total{compressor="c1",group="mt",kind="floodback",severity="minor",site="demo"} 4`,
			`dewgap_events_reached_total{compressor="c1",group="mt",kind="floodback",severity="risk",site="demo"} 5`},
		`dewgap_event_causes_total{cause="iced_coil"`: {
			`dewgap_event_causes_total{cause="iced_coil",circuit="case-1",group="mt",site="demo"} 2`},
		"dewgap_phase_seconds_total{": {
			`dewgap_phase_seconds_total{compressor="c1",group="mt",phase="defrost",site="demo"} 0`, `dewgap_phase_seconds_total{compressor="c1",group="mt",phase="off",site="demo"} 0`,
			`dewgap_phase_seconds_total{compressor="c1",group="mt",phase="pulldown",site="demo"} 600`, `dewgap_phase_seconds_total{compressor="c1",group="mt",phase="start",site="demo"} 0`,
			`dewgap_phase_seconds_total{compressor="c1",group="mt",phase="steady",site="demo"} 3000`, `dewgap_phase_seconds_total{compressor="c1",group="mt",phase="unknown",site="demo"} 0`},
		"dewgap_circuit_stage{": {
			`dewgap_circuit_stage{circuit="case-1",group="mt",site="demo",stage="defrosting"} 0`, `dewgap_circuit_stage{circuit="case-1",group="mt",site="demo",stage="dripping"} 1`,
			`dewgap_circuit_stage{circuit="case-1",group="mt",site="demo",stage="pulldown"} 0`, `dewgap_circuit_stage{circuit="case-1",group="mt",site="demo",stage="refrigerating"} 0`,
			`dewgap_circuit_stage{circuit="case-1",group="mt",site="demo",stage="unknown"} 0`},
		"dewgap_defrosts_total{":                {`dewgap_defrosts_total{circuit="case-1",group="mt",site="demo"} 12`},
		"dewgap_superheat_lowest_kelvin{":       {`dewgap_superheat_lowest_kelvin{compressor="c1",group="mt",site="demo"} 3.4`},
		"dewgap_discharge_pressure_pascals{":    {`dewgap_discharge_pressure_pascals{group="mt",site="demo"} 1.1e+06`},
		"dewgap_discharge_temperature_celsius{": {`dewgap_discharge_temperature_celsius{compressor="c1",group="mt",site="demo"} 71.5`},
		"dewgap_sump_temperature_celsius{":      nil, // stale
		"dewgap_coil_outlet_celsius{":           {`dewgap_coil_outlet_celsius{circuit="case-1",group="mt",site="demo"} -4`},
		"dewgap_air_celsius{":                   {`dewgap_air_celsius{circuit="case-1",group="mt",site="demo"} 2.5`},
		"dewgap_judgement_limited{":             {`dewgap_judgement_limited{compressor="c1",group="mt",site="demo",what="wetness"} 1`},
		"dewgap_inputs{": {
			`dewgap_inputs{group="mt",quality="bad",site="demo"} 0`, `dewgap_inputs{group="mt",quality="good",site="demo"} 5`, `dewgap_inputs{group="mt",quality="missing",site="demo"} 1`,
			`dewgap_inputs{group="mt",quality="stale",site="demo"} 1`, `dewgap_inputs{group="mt",quality="suspect",site="demo"} 0`},
		"dewgap_input_unusable{": {
			`dewgap_input_unusable{compressor="c1",group="mt",input="sump_temperature",quality="stale",site="demo"} 1`,
			`dewgap_input_unusable{compressor="c2",group="mt",input="suction_temperature",quality="missing",site="demo"} 1`},
		"dewgap_floodback_seconds_total{":                              {`dewgap_floodback_seconds_total{compressor="c1",group="mt",site="demo"} 170`},
		"dewgap_floodback_withdrawn_seconds_total{":                    {`dewgap_floodback_withdrawn_seconds_total{compressor="c1",group="mt",site="demo"} 20`},
		"dewgap_floodback_dose_kelvin_seconds_total{":                  {`dewgap_floodback_dose_kelvin_seconds_total{compressor="c1",group="mt",site="demo"} 910`},
		`dewgap_input_age_seconds{group="mt",input="suction_pressure"`: {`dewgap_input_age_seconds{group="mt",input="suction_pressure",site="demo"} 1.5`},
		`dewgap_input_age_seconds{circuit`: {
			`dewgap_input_age_seconds{circuit="case-1",group="mt",input="air_temperature",site="demo"} 0`, `dewgap_input_age_seconds{circuit="case-1",group="mt",input="coil_outlet_temperature",site="demo"} 0`},
		"dewgap_source_up{":                {`dewgap_source_up{site="demo",source="rack-io"} 1`},
		"dewgap_source_errors_total{":      {`dewgap_source_errors_total{reason="timeout",site="demo",source="rack-io"} 5`},
		"dewgap_source_re":                 {`dewgap_source_reconnects_total{site="demo",source="rack-io"} 2`, `dewgap_source_requests_total{site="demo",source="rack-io"} 70`, `dewgap_source_resting_units{site="demo",source="rack-io"} 1`},
		"dewgap_source_age_seconds{":       {`dewgap_source_age_seconds{site="demo",source="rack-io"} 4`},
		"dewgap_source_cycle_seconds{":     {`dewgap_source_cycle_seconds{site="demo",source="rack-io"} 0.25`},
		"dewgap_source_late_cycles_total{": {`dewgap_source_late_cycles_total{site="demo",source="rack-io"} 1`},
		"dewgap_build_info{":               {`dewgap_build_info{goversion="go1.26",site="demo",version="1.0"} 1`},
	} {
		if l := lines(got, prefix); !slices.Equal(l, want) {
			t.Errorf("%s:\n got %q\nwant %q", prefix, l, want)
		}
	}
	for name, kind := range map[string]string{
		"superheat_kelvin": "gauge", "superheat_margin_kelvin": "gauge", "superheat_floor_kelvin": "gauge", "superheat_uncertainty_kelvin": "gauge",
		"suction_pressure_pascals": "gauge", "suction_dew_celsius": "gauge", "suction_temperature_celsius": "gauge", "phase": "gauge", "event_severity": "gauge",
		"events_total": "counter", "floodback_seconds_total": "counter", "floodback_dose_kelvin_seconds_total": "counter", "input_age_seconds": "gauge",
		"input_unusable": "gauge", "inputs": "gauge", "source_up": "gauge", "source_errors_total": "counter", "build_info": "gauge",
	} {
		if want := "# TYPE dewgap_" + name + " " + kind + "\n"; !strings.Contains(got, want) {
			t.Errorf("no line %q", want)
		}
	}
}

var update = flag.Bool("update", false, "write testdata/exposition.txt and config/monitoring/metrics.md anew")

// matchesFile holds got to a file, which -update writes anew.
func matchesFile(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(got, "\n")); diff != "" {
		t.Errorf("%s changed; if that is meant, go test ./cmd/dewgap/internal/metrics -update (-file +now):\n%s", file, diff)
	}
}

// Every series and type of the example site: a metric that is added, renamed or
// lost is seen in the file's diff.
func TestWholeExposition(t *testing.T) {
	var own []string
	for _, l := range strings.Split(gathered(t, fixedBoard{exampleSnapshot(), 0}), "\n") {
		if strings.HasPrefix(l, "dewgap_") || strings.HasPrefix(l, "# TYPE dewgap_") {
			own = append(own, l)
		}
	}
	got := strings.Join(own, "\n") + "\n"
	matchesFile(t, "testdata/exposition.txt", got)
}

// Trap 25: a dead sensor's last value must not stay; neither must the values
// of a main loop that hangs, nor the series of a compressor that is gone.
func TestTrap25NoLastValue(t *testing.T) {
	s := exampleSnapshot()
	board := &fixedBoard{s, 0}
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(NewCollector(board, Build{}))
	count := func(name string) int {
		n, err := testutil.GatherAndCount(registry, name)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if n := count("dewgap_superheat_kelvin"); n != 1 {
		t.Fatalf("%d series of superheat, want that of the known one", n)
	}
	dead := exampleSnapshot()
	dead.States[0].Quality = reading.Stale // even if a value were still there
	board.s = dead
	if n := count("dewgap_superheat_kelvin") + count("dewgap_superheat_margin_kelvin"); n != 0 {
		t.Errorf("%d series of a stale superheat", n)
	}
	board.s, board.age = s, snapshot.MaxAge+1
	for _, name := range []string{"superheat_kelvin", "suction_pressure_pascals", "phase", "circuit_stage", "inputs", "input_unusable", "input_age_seconds", "air_celsius"} {
		if n := count("dewgap_" + name); n != 0 {
			t.Errorf("%d series of %s although nothing has been analysed lately", n, name)
		}
	}
	if n := count("dewgap_floodback_seconds_total"); n != 1 {
		t.Error("the exposure was forgotten; it is known")
	}
	gone := exampleSnapshot()
	gone.States = gone.States[1:]
	board.s, board.age = gone, 0
	if n := count("dewgap_suction_dew_celsius"); n != 1 {
		t.Errorf("%d series after a compressor left", n)
	}
	board.s = nil
	if n := count("dewgap_build_info"); n != 1 {
		t.Errorf("%d build infos before anything is known", n)
	}
}

// countingBoard counts how often it is looked at.
type countingBoard struct {
	fixedBoard
	looks int
}

func (b *countingBoard) Current() (*snapshot.Snapshot, time.Duration) {
	b.looks++
	return b.fixedBoard.Current()
}

// Trap 26: a scrape looks once at the newest snapshot and does nothing else:
// the collector has nothing that could poll, and ten scrapes change no value.
func TestTrap26ScrapingPollsNothing(t *testing.T) {
	b := &countingBoard{fixedBoard: fixedBoard{exampleSnapshot(), 0}}
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(NewCollector(b, Build{}))
	b.looks = 0
	first := ""
	for i := range 10 {
		w := httptest.NewRecorder()
		Handler(registry, slog.New(slog.DiscardHandler)).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
		if i == 0 {
			first = w.Body.String()
		} else if w.Body.String() != first {
			t.Fatal("a scrape changed what the next one saw")
		}
	}
	if b.looks != 10 {
		t.Errorf("%d looks for 10 scrapes", b.looks)
	}
}

// Trap 27: names from the field. The expected escapes are the row "walk-in "A"\B"
// of shared/checks/prometheus.csv.
func TestTrap27LabelValues(t *testing.T) {
	s := exampleSnapshot()
	s.States[0].Name, s.States[1].Name = `walk-in "A"\B`, "two\nlines\xff"
	s.Sources = append(s.Sources, collector.Status{Name: "rack-io"}) // twice the same name
	for i := range 1000 {
		s.Sources[0].Errors[fmt.Sprintf("topic-%d %s", i, strings.Repeat("x", 200))] = 1
	}
	got := gathered(t, fixedBoard{s, 0})
	for _, want := range []string{
		`dewgap_superheat_kelvin{compressor="walk-in \"A\"\\B",group="mt",site="demo"} 11.2`,
		`dewgap_suction_dew_celsius{compressor="two\nlines` + "\uFFFD" + `",group="mt",site="demo"} -9.5`,
	} {
		if !strings.Contains(got, want+"\n") {
			t.Errorf("no line %s", want)
		}
	}
	reasons := lines(got, "dewgap_source_errors_total{")
	if len(reasons) > maxReasons+1 {
		t.Errorf("%d reasons of one source", len(reasons))
	}
	if n := len(lines(got, "dewgap_source_up{")); n != 1 {
		t.Errorf("%d series for two sources of one name", n)
	}
}

// Trap 28: counters come back from the ledger after a restart.
func TestTrap28CountersSurviveRestart(t *testing.T) {
	dir := t.TempDir()
	ledger, _, err := alert.OpenLedger(dir)
	if err != nil {
		t.Fatal(err)
	}
	site := analyze.Site{Name: "demo", Groups: []analyze.Group{{Name: "mt", Compressors: []analyze.Compressor{{Name: "c1"}}, Circuits: []analyze.Circuit{{Name: "case-1"}}}}}
	before := alert.NewTracker(site)
	before.Restore(nil, exampleSnapshot().Totals)
	if err := ledger.Save(noon, 1, before.Totals, false, true); err != nil {
		t.Fatal(err)
	}
	_, totals, err := alert.OpenLedger(dir)
	if err != nil {
		t.Fatal(err)
	}
	after := alert.NewTracker(site)
	after.Restore(nil, totals)
	s := exampleSnapshot()
	s.Totals = after.Totals()
	got := gathered(t, fixedBoard{s, 0})
	for _, want := range []string{
		`dewgap_floodback_seconds_total{compressor="c1",group="mt",site="demo"} 170`,
		`dewgap_floodback_dose_kelvin_seconds_total{compressor="c1",group="mt",site="demo"} 910`,
		`dewgap_floodback_withdrawn_seconds_total{compressor="c1",group="mt",site="demo"} 20`,
		`dewgap_events_total{compressor="c1",group="mt",kind="floodback",site="demo"} 5`,
		`dewgap_events_reached_total{compressor="c1",group="mt",kind="floodback",severity="minor",site="demo"} 4`,
		`dewgap_phase_seconds_total{compressor="c1",group="mt",phase="pulldown",site="demo"} 600`,
		`dewgap_superheat_lowest_kelvin{compressor="c1",group="mt",site="demo"} 3.4`,
		`dewgap_compressor_starts_total{compressor="c1",group="mt",site="demo"} 4`,
		`dewgap_defrosts_total{circuit="case-1",group="mt",site="demo"} 12`,
		`dewgap_event_causes_total{cause="iced_coil",circuit="case-1",group="mt",site="demo"} 2`,
	} {
		if !strings.Contains(got, want+"\n") {
			t.Errorf("no line %s", want)
		}
	}
}

func TestFaultsAreMetrics(t *testing.T) {
	s := exampleSnapshot()
	s.ConfigFault, s.Journal.Fault, s.Journal.Errors = "site.toml:3: …", "no space left on device", 7
	got := gathered(t, fixedBoard{s, 0})
	for _, want := range []string{`dewgap_fault_active{fault="config",site="demo"} 1`, `dewgap_fault_active{fault="journal",site="demo"} 1`, `dewgap_fault_active{fault="ledger",site="demo"} 0`, `dewgap_journal_errors_total{site="demo"} 7`} {
		if !strings.Contains(got, want+"\n") {
			t.Errorf("no line %s", want)
		}
	}
}

// The whole registry, with the runtime's metrics, before the reference tool.
func TestReferenceToolAcceptsTheScrape(t *testing.T) {
	registry := NewRegistry(fixedBoard{exampleSnapshot(), 0}, Build{"1.0", "go1.26"})
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("linter: %v %v", problems, err)
	}
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("promtool runs with DEWGAP_PEERS=1")
	}
	w := httptest.NewRecorder()
	Handler(registry, slog.New(slog.DiscardHandler)).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	cmd := exec.Command("promtool", "check", "metrics")
	cmd.Stdin = bytes.NewReader(w.Body.Bytes())
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("promtool: %v\n%s", err, out)
	}
}

func BenchmarkScrape(b *testing.B) {
	registry := NewRegistry(fixedBoard{exampleSnapshot(), 0}, Build{})
	h := Handler(registry, slog.New(slog.DiscardHandler))
	b.ReportAllocs()
	for b.Loop() {
		h.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("GET", "/metrics", nil))
	}
}

// A maintenance has a series while it is on, with the labels of its place; of two
// at one place the one that ends last counts.
func TestMaintenance(t *testing.T) {
	s := exampleSnapshot()
	m := func(compressor string, until time.Duration) alert.Maintenance {
		return alert.Maintenance{Group: "mt", Compressor: compressor, From: noon.Add(-time.Hour), Until: noon.Add(until)}
	}
	s.Maintenance = []alert.Maintenance{m("c1", time.Hour), m("c1", 2*time.Hour), m("c1", 30*time.Minute), m("", time.Minute), m("c2", 0)}
	want := []string{
		fmt.Sprintf(`dewgap_maintenance_until_seconds{compressor="c1",group="mt",site="demo"} %g`, float64(noon.Add(2*time.Hour).Unix())),
		fmt.Sprintf(`dewgap_maintenance_until_seconds{group="mt",site="demo"} %g`, float64(noon.Add(time.Minute).Unix())),
	}
	got := lines(gathered(t, fixedBoard{s, 0}), "dewgap_maintenance")
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
