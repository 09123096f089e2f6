// Package metrics writes the metrics of the contract's section 6.
//
// It reads the newest snapshot and nothing else, so that a scrape never polls a
// device. What is not known is absent: every series is built again from the
// snapshot, and none outlives what it stood for.
package metrics

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/cause"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"

	"dewgap/cmd/dewgap/internal/snapshot"
)

// Board is where the newest snapshot comes from.
type Board interface {
	Current() (*snapshot.Snapshot, time.Duration)
}

// Build identifies the program.
type Build struct{ Version, GoVersion string }

// NewRegistry returns a registry of its own with dewgap's metrics and those of
// the Go runtime and the process.
func NewRegistry(board Board, build Build) *prometheus.Registry {
	registry := prometheus.NewRegistry()
	registry.MustRegister(NewCollector(board, build),
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return registry
}

// Handler serves registry at /metrics.
func Handler(registry *prometheus.Registry, log *slog.Logger) http.Handler {
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{
		ErrorLog:      clientsLeft{slog.NewLogLogger(log.Handler(), slog.LevelError)},
		ErrorHandling: promhttp.ContinueOnError, // one bad series must not hide the others
		Timeout:       10 * time.Second,
	})
}

// clientsLeft logs what goes wrong in a scrape, but not that the client went away or
// took too long: that is no fault of the site, and would be a line for each metric.
type clientsLeft struct{ promhttp.Logger }

func (l clientsLeft) Println(v ...any) {
	for _, one := range v {
		if err, ok := one.(error); ok && (errors.Is(err, context.Canceled) || errors.Is(err, http.ErrHandlerTimeout)) {
			return
		}
	}
	l.Logger.Println(v...)
}

// Collector makes dewgap's metrics from the newest snapshot.
type Collector struct {
	board Board
	build Build
}

// NewCollector returns a collector of what board shows.
func NewCollector(board Board, build Build) *Collector { return &Collector{board, build} }

// Labels of a place; every series has the label site before them.
var (
	ofGroup   = []string{"group"}
	ofMachine = []string{"group", "compressor"}
	ofCircuit = []string{"group", "circuit"}
)

var (
	superheat   = desc("superheat_kelvin", "Superheat over dew at the compressor inlet.", ofMachine)
	margin      = desc("superheat_margin_kelvin", "Superheat minus the floor that holds now.", ofMachine)
	floor       = desc("superheat_floor_kelvin", "Floor of superheat that holds in the present phase.", ofMachine)
	uncertainty = desc("superheat_uncertainty_kelvin", "Expanded uncertainty (k=2) of the superheat.", ofMachine)
	lowest      = desc("superheat_lowest_kelvin", "Lowest good superheat of the last pulldown that ended.", ofMachine)
	pressure    = desc("suction_pressure_pascals", "Absolute suction pressure.", ofMachine)
	dew         = desc("suction_dew_celsius", "Dew temperature at suction pressure.", ofMachine)
	line        = desc("suction_temperature_celsius", "Temperature of the suction line at the compressor inlet.", ofMachine)
	discharge   = desc("discharge_temperature_celsius", "Discharge temperature.", ofMachine)
	sump        = desc("sump_temperature_celsius", "Temperature of the oil sump.", ofMachine)
	high        = desc("discharge_pressure_pascals", "Absolute discharge pressure.", ofGroup)
	coilOutlet  = desc("coil_outlet_celsius", "Temperature of the suction line at the evaporator outlet.", ofCircuit)
	air         = desc("air_celsius", "Temperature of the cooled air.", ofCircuit)

	phases       = desc("phase", "1 for the phase that the compressor is in, 0 for the others.", ofMachine, "phase")
	phaseSeconds = desc("phase_seconds_total", "Time watched in each phase; survives a restart.", ofMachine, "phase")
	stages       = desc("circuit_stage", "1 for the stage that the circuit is in, 0 for the others.", ofCircuit, "stage")
	defrosts     = desc("defrosts_total", "Defrosts that began; survives a restart.", ofCircuit)
	limited      = desc("judgement_limited", "1 while something of the compressor cannot be judged, or not well, with the readings there are: sampling too slow, an input missing.", ofMachine, "what")
	trendLimit   = desc("trend_limit_seconds", "Time until a slow trend of a circuit or compressor reaches its limit, if it goes on; 0 when it has; absent when none does within a week.", ofGroup, "member", "quantity")

	eventSeverity = desc("event_severity", "Worst open event of this kind: 0 none, 1 risk or notice, 2 minor or warning, 3 major or critical.", ofMachine, "kind")
	eventInfo     = desc("event_info", "1 while the event is open.", ofMachine, "kind", "severity", "circuit", "cause", "event")
	events        = desc("events_total", "Events opened; survives a restart.", ofMachine, "kind")
	reached       = desc("events_reached_total", "Events that reached at least this severity, for kinds that have several; survives a restart.", ofMachine, "kind", "severity")
	causes        = desc("event_causes_total", "Closed floodback events by their first circuit (none where it is not known) and cause; survives a restart.", ofCircuit, "cause")
	below         = desc("floodback_seconds_total", "Time with the margin below zero inside floodback events; survives a restart.", ofMachine)
	dose          = desc("floodback_dose_kelvin_seconds_total", "The same time weighted by how far the margin was below zero; survives a restart.", ofMachine)
	withdrawn     = desc("floodback_withdrawn_seconds_total", "The part of floodback_seconds_total that belongs to events which a doubt of their inputs proved false; survives a restart.", ofMachine)
	running       = desc("compressor_running_seconds_total", "Running time seen; survives a restart.", ofMachine)
	starts        = desc("compressor_starts_total", "Starts seen; survives a restart.", ofMachine)

	groupMaintenance   = desc("maintenance_until_seconds", "Unix time at which the maintenance of the place ends; only while one is on.", ofGroup)
	machineMaintenance = desc("maintenance_until_seconds", "Unix time at which the maintenance of the place ends; only while one is on.", ofMachine)

	inputs = desc("inputs", "How many inputs of the group have this quality.", ofGroup, "quality")

	sourceUp         = desc("source_up", "1 while the bus or broker answers, 0 otherwise.", nil, "source")
	sourceErrors     = desc("source_errors_total", "Failures by reason.", nil, "source", "reason")
	sourceRequests   = desc("source_requests_total", "Requests sent, or messages taken.", nil, "source")
	sourceAge        = desc("source_age_seconds", "Time since the last answer or message, by the time of the rows.", nil, "source")
	sourceResting    = desc("source_resting_units", "Units that are left alone for a while after failures.", nil, "source")
	sourceReconnects = desc("source_reconnects_total", "Connections made after the first.", nil, "source")
	sourceLate       = desc("source_late_cycles_total", "Poll cycles that began late or were skipped.", nil, "source")
	sourceCycle      = desc("source_cycle_seconds", "How long the bus was busy in its last cycle, in which every point comes round; more than the slowest period means that it cannot keep up.", nil, "source")

	rowTime       = desc("row_timestamp_seconds", "Time of the newest row analysed.", nil)
	lateRows      = desc("late_rows_total", "Rows skipped because the one before took too long.", nil)
	journalErrors = desc("journal_errors_total", "Failed attempts to write the event journal.", nil)
	journalWait   = desc("journal_waiting_entries", "Journal entries not yet on disk.", nil)
	journalLost   = desc("journal_damaged_entries", "Damaged journal entries skipped when it was opened.", nil)
	ledgerErrors  = desc("ledger_errors_total", "Failed attempts to write the exposure ledger.", nil)
	notifyWaiting = desc("notify_waiting", "Changes of events that the target should have been told by now.", nil, "target")
	notifyFails   = desc("notify_failures_total", "Attempts to tell the target that failed.", nil, "target")
	notifyOldest  = desc("notify_oldest_seconds", "How long the oldest change has been waiting for the target; 0 while none waits.", nil, "target")
	remoteBehind  = desc("remote_write_behind_seconds", "Age of the newest row that the receiver of metrics has, by the time of the rows.", nil, "receiver")
	remoteSamples = desc("remote_write_samples_total", "Samples that the receiver of metrics took.", nil, "receiver")
	remoteFails   = desc("remote_write_failures_total", "Attempts to send metrics to the receiver that failed.", nil, "receiver")
	remoteLost    = desc("remote_write_rejected_samples_total", "Samples that the receiver will never take: refused (out of order, or wrong), too_old, too_large.", nil, "receiver", "reason")
	faultActive   = desc("fault_active", "1 while the daemon reports a fault of its own.", nil, "fault")
	buildInfo     = desc("build_info", "Always 1; the labels identify the program.", nil, "version", "goversion")
)

// An input's series have the labels of the place where it is: those of a
// compressor that does not apply are not there.
var (
	inputAge      = byHome("input_age_seconds", "Age of the input's last value by the time of the rows.", "input")
	inputUnusable = byHome("input_unusable", "1 while the input is not good.", "input", "quality")
)

// documented is a metric as the reference lists it.
type documented struct {
	name, help string
	labels     []string
}

// reference lists every metric in the order of its declaration.
var reference []documented

// metricOf finds a metric by its description.
var metricOf = map[*prometheus.Desc]*Metric{}

func desc(name, help string, place []string, labels ...string) *prometheus.Desc {
	d := documented{"dewgap_" + name, help, slices.Concat([]string{"site"}, place, labels)}
	reference = append(reference, d)
	described := prometheus.NewDesc(d.name, d.help, d.labels, nil)
	metricOf[described] = &Metric{Name: d.name, Help: d.help, Labels: d.labels, Counter: strings.HasSuffix(name, "_total"), Order: len(reference)}
	return described
}

// byHome returns the metric for inputs of a group, a compressor and a circuit.
func byHome(name, help string, labels ...string) map[reading.Home]*prometheus.Desc {
	return map[reading.Home]*prometheus.Desc{
		reading.AtGroup:      desc(name, help, ofGroup, labels...),
		reading.AtCompressor: desc(name, help, ofMachine, labels...),
		reading.AtCircuit:    desc(name, help, ofCircuit, labels...),
	}
}

// Describe sends nothing: which series exist depends on what is known.
func (c *Collector) Describe(chan<- *prometheus.Desc) {}

// Collect sends what the newest snapshot knows.
func (c *Collector) Collect(out chan<- prometheus.Metric) {
	s, age := c.board.Current()
	e := newEmitter(s, func(d *prometheus.Desc, t prometheus.ValueType, v float64, labels []string) {
		out <- prometheus.MustNewConstMetric(d, t, v, labels...)
	})
	e.gauge(buildInfo, 1, c.build.Version, c.build.GoVersion)
	if s == nil {
		return
	}
	e.machine(s, age)
	e.counts(s)
	if age > snapshot.MaxAge {
		return // the main loop hangs: nothing is known of the plant now
	}
	e.plant(s)
	e.inputs(s, age)
}

// machine sends what concerns gateway, sources and people: what no recording holds.
func (e *emitter) machine(s *snapshot.Snapshot, age time.Duration) {
	e.daemon(s, age)
	e.maintenance(s)
	for i := range s.Sources {
		e.source(&s.Sources[i], s.Time, age)
	}
	for i := range s.Targets {
		e.target(&s.Targets[i])
	}
	for i := range s.Receivers {
		e.receiver(&s.Receivers[i], s.Time)
	}
}

// counts sends totals and open events.
func (e *emitter) counts(s *snapshot.Snapshot) {
	if !s.Time.IsZero() {
		e.gauge(rowTime, float64(s.Time.UnixMilli())/1000)
	}
	for i := range s.Totals {
		t := &s.Totals[i]
		e.totals(t, slices.ContainsFunc(s.Totals, func(c alert.Totals) bool { return c.Circuit != "" && c.Group == t.Group }))
	}
	e.openEvents(s)
}

// plant sends what the analysis knows of compressors and circuits.
func (e *emitter) plant(s *snapshot.Snapshot) {
	for i := range s.States {
		e.state(&s.States[i])
	}
	for i := range s.Circuits {
		e.circuit(&s.Circuits[i])
	}
	for i := range s.Limits {
		l := &s.Limits[i]
		e.gauge(limited, 1, l.Group, l.Compressor, l.What)
	}
	for i := range s.Notices {
		n := &s.Notices[i]
		e.gauge(trendLimit, n.Days*86400, n.Group, n.Circuit+n.Compressor, n.Quantity)
	}
}

// emitter sends each series once, with labels that are valid text.
type emitter struct {
	put  func(d *prometheus.Desc, t prometheus.ValueType, v float64, labels []string)
	site string
	sent map[string]bool
}

func newEmitter(s *snapshot.Snapshot, put func(*prometheus.Desc, prometheus.ValueType, float64, []string)) *emitter {
	e := &emitter{put: put, sent: map[string]bool{}}
	if s != nil {
		e.site = s.Site
	}
	return e
}

// gauge sends a value with its labels but for the site.
func (e *emitter) gauge(d *prometheus.Desc, v float64, labels ...string) {
	e.send(d, prometheus.GaugeValue, v, labels)
}

// counter sends a total with its labels but for the site.
func (e *emitter) counter(d *prometheus.Desc, v float64, labels ...string) {
	e.send(d, prometheus.CounterValue, v, labels)
}

// flag sends 1 or 0.
func (e *emitter) flag(d *prometheus.Desc, on bool, labels ...string) {
	v := 0.0
	if on {
		v = 1
	}
	e.gauge(d, v, labels...)
}

// send drops what is not known, and a series that was sent already: it would
// cost the whole scrape.
func (e *emitter) send(d *prometheus.Desc, t prometheus.ValueType, v float64, labels []string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	labels = append([]string{e.site}, labels...)
	for i, l := range labels {
		labels[i] = strings.ToValidUTF8(l, "\uFFFD")
	}
	key := d.String() + "\xff" + strings.Join(labels, "\xff")
	if e.sent[key] {
		return
	}
	e.sent[key] = true
	e.put(d, t, v, labels)
}

// maintenance sends the end of the last maintenance that is on at each place.
func (e *emitter) target(t *snapshot.Target) {
	waits := 0.0
	if !t.Oldest.IsZero() {
		waits = time.Since(t.Oldest).Seconds()
	}
	e.gauge(notifyWaiting, float64(t.Waiting), t.Name)
	e.counter(notifyFails, float64(t.Failures), t.Name)
	e.gauge(notifyOldest, waits, t.Name)
}

func (e *emitter) maintenance(s *snapshot.Snapshot) {
	on := slices.DeleteFunc(slices.Clone(s.Maintenance), func(m alert.Maintenance) bool { return !m.On(s.Time) })
	slices.SortStableFunc(on, func(a, b alert.Maintenance) int { return b.Until.Compare(a.Until) })
	for i := range on {
		m := &on[i]
		if until := float64(m.Until.UnixMilli()) / 1000; m.Compressor == "" {
			e.gauge(groupMaintenance, until, m.Group)
		} else {
			e.gauge(machineMaintenance, until, m.Group, m.Compressor)
		}
	}
}

func (e *emitter) state(st *analyze.State) {
	if st.Quality == reading.Good || st.Quality == reading.Suspect {
		e.gauge(superheat, float64(st.Superheat), st.Group, st.Name)
		e.gauge(margin, float64(st.Margin), st.Group, st.Name)
		if !math.IsNaN(float64(st.Superheat)) { // a stopped compressor has none
			e.gauge(uncertainty, float64(st.Uncertainty), st.Group, st.Name)
		}
	}
	e.gauge(floor, float64(st.Floor), st.Group, st.Name)
	e.gauge(pressure, float64(st.SuctionPressure), st.Group, st.Name)
	e.gauge(dew, float64(st.Dew), st.Group, st.Name)
	e.gauge(line, float64(st.SuctionTemperature), st.Group, st.Name)
	for p := range frame.Phase(frame.PhaseCount) {
		e.flag(phases, st.Phase == p, st.Group, st.Name, p.String())
	}
}

func (e *emitter) circuit(c *analyze.CircuitState) {
	for stage := range frame.Stage(frame.StageCount) {
		e.flag(stages, c.Stage == stage, c.Group, c.Name, stage.String())
	}
}

// kindsOf returns the kinds of event that a compressor, or a group for the
// inputs that its compressors share, can have.
func kindsOf(compressor string) []floodback.Kind {
	if compressor == "" {
		return []floodback.Kind{floodback.SensorFault, floodback.NoData}
	}
	var all []floodback.Kind
	for k := range floodback.Kind(floodback.KindCount) {
		all = append(all, k)
	}
	return all
}

// openEvents sends the worst severity of every kind that a compressor or group
// can have, so that an alert rule sees 0 and not nothing, and who is concerned.
func (e *emitter) openEvents(s *snapshot.Snapshot) {
	type subject struct{ group, compressor, kind string }
	worst := map[subject]int{}
	for i := range s.Open {
		ev := &s.Open[i]
		of := subject{ev.Group, ev.Compressor, ev.Kind}
		worst[of] = max(worst[of], ev.Level())
		circuit, first := "", ""
		if len(ev.Circuits) > 0 {
			circuit = ev.Circuits[0].Name
		}
		if len(ev.Causes) > 0 {
			first = ev.Causes[0].Cause
		}
		e.gauge(eventInfo, 1, ev.Group, ev.Compressor, ev.Kind, ev.Severity, circuit, first, ev.ID)
	}
	for of, level := range worst {
		e.gauge(eventSeverity, float64(level), of.group, of.compressor, of.kind)
	}
	for i := range s.Totals {
		if t := &s.Totals[i]; t.Circuit == "" {
			for _, k := range kindsOf(t.Compressor) {
				e.gauge(eventSeverity, 0, t.Group, t.Compressor, k.String()) // dropped where one is open
			}
		}
	}
}

// totals sends the counters of a compressor, a group or a circuit. One that
// begins at its first event hides that event from increase(): all are sent.
func (e *emitter) totals(t *alert.Totals, hasCircuits bool) {
	if t.Compressor == "" {
		for _, c := range cause.Names() {
			if n := t.Causes[c]; n > 0 || t.Circuit != "" || !hasCircuits { // a group's events name one where it has any
				e.counter(causes, float64(n), t.Group, t.Circuit, c)
			}
		}
	}
	if t.Circuit != "" {
		e.counter(defrosts, float64(t.Defrosts), t.Group, t.Circuit)
		return
	}
	opened, reachedBy := map[string]uint64{}, map[[2]string]uint64{}
	for _, n := range t.Events {
		opened[n.Kind] += n.Opened
		reachedBy[[2]string{n.Kind, n.Severity}] = n.Reached
	}
	for _, k := range kindsOf(t.Compressor) {
		e.counter(events, float64(opened[k.String()]), t.Group, t.Compressor, k.String())
		if severities := alert.SeveritiesOf(k); len(severities) > 1 {
			for _, severity := range severities {
				n := reachedBy[[2]string{k.String(), severity.String()}]
				e.counter(reached, float64(n), t.Group, t.Compressor, k.String(), severity.String())
			}
		}
	}
	if t.Compressor == "" {
		return
	}
	e.counter(below, t.FloodbackSeconds, t.Group, t.Compressor)
	e.counter(dose, t.FloodbackKelvinSeconds, t.Group, t.Compressor)
	e.counter(withdrawn, t.FloodbackWithdrawnSeconds, t.Group, t.Compressor)
	e.counter(running, t.RunningSeconds, t.Group, t.Compressor)
	e.counter(starts, float64(t.Starts), t.Group, t.Compressor)
	for p := range frame.Phase(frame.PhaseCount) {
		e.counter(phaseSeconds, t.PhaseSeconds[p.String()], t.Group, t.Compressor, p.String())
	}
	if t.LowestInPulldownK != nil {
		e.gauge(lowest, *t.LowestInPulldownK, t.Group, t.Compressor)
	}
}

// measured are the roles whose values have a metric of their own; those that
// superheat is made of come with the states.
var measured = map[reading.Role]*prometheus.Desc{
	reading.DischargePressure:     high,
	reading.DischargeTemperature:  discharge,
	reading.SumpTemperature:       sump,
	reading.CoilOutletTemperature: coilOutlet,
	reading.AirTemperature:        air,
}

// inputs sends age, quality and value of each input, and how many there are of
// each quality.
func (e *emitter) inputs(s *snapshot.Snapshot, age time.Duration) {
	var groups []string
	count := map[string]map[reading.Quality]int{}
	for i := range min(len(s.Inputs), len(s.Points)) {
		in, p := &s.Inputs[i], &s.Points[i]
		if count[p.Group] == nil {
			groups = append(groups, p.Group)
			count[p.Group] = map[reading.Quality]int{}
		}
		count[p.Group][in.Quality]++
		home, place := reading.AtGroup, []string{p.Group}
		if p.Member != "" {
			home, place = p.Role.Home()&^reading.AtGroup, []string{p.Group, p.Member}
		}
		if !in.At.IsZero() {
			e.gauge(inputAge[home], max(0, s.Time.Sub(in.At)+age).Seconds(), append(place, p.Role.String())...)
		}
		if in.Quality != reading.Good {
			e.gauge(inputUnusable[home], 1, append(place, p.Role.String(), in.Quality.String())...)
		} else if d := measured[p.Role]; d != nil {
			e.gauge(d, in.Value, place...)
		}
	}
	for _, group := range groups {
		for q := reading.Missing; q <= reading.Bad; q++ {
			e.gauge(inputs, float64(count[group][q]), group, q.String())
		}
	}
}
