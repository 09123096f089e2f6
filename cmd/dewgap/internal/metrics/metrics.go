// Package metrics writes the metrics of the contract's section 6.
//
// It reads the newest snapshot and nothing else, so that a scrape never polls a
// device. What is not known is absent: every series is built again from the
// snapshot, and none outlives what it stood for.
package metrics

import (
	"log/slog"
	"math"
	"net/http"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	uncertain "dewgap/analyze/superheat"
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
		ErrorLog:      slog.NewLogLogger(log.Handler(), slog.LevelError),
		ErrorHandling: promhttp.ContinueOnError, // one bad series must not hide the others
		Timeout:       10 * time.Second,
	})
}

// Collector makes dewgap's metrics from the newest snapshot.
type Collector struct {
	board Board
	build Build
}

// NewCollector returns a collector of what board shows.
func NewCollector(board Board, build Build) *Collector { return &Collector{board, build} }

var (
	machine = []string{"site", "group", "compressor"}

	superheat   = desc("superheat_kelvin", "Superheat over dew at the compressor inlet.", machine...)
	margin      = desc("superheat_margin_kelvin", "Superheat minus the floor that holds now.", machine...)
	floor       = desc("superheat_floor_kelvin", "Floor of superheat that holds in the present phase.", machine...)
	uncertainty = desc("superheat_uncertainty_kelvin", "Expanded uncertainty (k=2) of the superheat.", machine...)
	part        = desc("superheat_uncertainty_part_kelvin", "What one part contributes to the expanded uncertainty (k=2) of the superheat; parts add in squares.", append(machine, "part")...)
	sensorLag   = desc("suction_sensor_lag_seconds", "Time constant of the suction-line sensor in use, by where it comes from.", append(machine, "source")...)
	pressure    = desc("suction_pressure_pascals", "Absolute suction pressure.", machine...)
	dew         = desc("suction_dew_celsius", "Dew temperature at suction pressure.", machine...)
	line        = desc("suction_temperature_celsius", "Temperature of the suction line at the compressor inlet.", machine...)
	phases      = desc("phase", "1 for the phase that the compressor is in, 0 for the others.", append(machine, "phase")...)

	trendLimit = desc("trend_limit_seconds", "Time until a slow trend of a circuit or compressor reaches its limit, if it goes on; 0 when it has; absent when none does within a week.", "site", "group", "member", "quantity")

	eventActive = desc("event_active", "1 while an event of this kind and severity is open, 0 otherwise.", append(machine, "kind", "severity")...)
	events      = desc("events_total", "Events opened, by their severity at opening; survives a restart.", append(machine, "kind", "severity")...)
	escalations = desc("event_escalations_total", "Open events raised to this severity; survives a restart.", append(machine, "kind", "severity")...)
	below       = desc("floodback_seconds_total", "Time with the margin below zero inside floodback events; survives a restart.", machine...)
	dose        = desc("floodback_dose_kelvin_seconds_total", "The same time weighted by how far the margin was below zero; survives a restart.", machine...)
	withdrawn   = desc("floodback_withdrawn_seconds_total", "The part of floodback_seconds_total that belongs to events which a doubt of their inputs proved false; survives a restart.", machine...)
	running     = desc("compressor_running_seconds_total", "Running time seen; survives a restart.", machine...)
	starts      = desc("compressor_starts_total", "Starts seen; survives a restart.", machine...)

	inputAge     = desc("input_age_seconds", "Age of the input's last value by the time of the rows.", "site", "input")
	inputQuality = desc("input_quality", "1 for the quality that the input has, 0 for the others.", "site", "input", "quality")

	sourceUp         = desc("source_up", "1 while the bus or broker answers, 0 otherwise.", "source")
	sourceErrors     = desc("source_errors_total", "Failures by reason.", "source", "reason")
	sourceRequests   = desc("source_requests_total", "Requests sent, or messages taken.", "source")
	sourceAge        = desc("source_age_seconds", "Time since the last answer or message, by the time of the rows.", "source")
	sourceResting    = desc("source_resting_units", "Units that are left alone for a while after failures.", "source")
	sourceReconnects = desc("source_reconnects_total", "Connections made after the first.", "source")
	sourceLate       = desc("source_late_cycles_total", "Poll cycles that began late or were skipped.", "source")
	sourceCycle      = desc("source_cycle_seconds", "How long the bus was busy in its last cycle, in which every point comes round; more than the slowest period means that it cannot keep up.", "source")

	rowTime       = desc("row_timestamp_seconds", "Time of the newest row analysed.")
	lateRows      = desc("late_rows_total", "Rows skipped because the one before took too long.")
	journalErrors = desc("journal_errors_total", "Failed attempts to write the event journal.")
	journalWait   = desc("journal_waiting_entries", "Journal entries not yet on disk.")
	journalLost   = desc("journal_damaged_entries", "Damaged journal entries skipped when it was opened.")
	ledgerErrors  = desc("ledger_errors_total", "Failed attempts to write the exposure ledger.")
	faultActive   = desc("fault_active", "1 while the daemon reports a fault of its own.", "fault")
	buildInfo     = desc("build_info", "Always 1; the labels identify the program.", "version", "goversion")
)

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("dewgap_"+name, help, append([]string(nil), labels...), nil)
}

// Describe sends nothing: which series exist depends on what is known.
func (c *Collector) Describe(chan<- *prometheus.Desc) {}

// Collect sends what the newest snapshot knows.
func (c *Collector) Collect(out chan<- prometheus.Metric) {
	e := &emitter{out: out, sent: map[string]bool{}}
	e.gauge(buildInfo, 1, c.build.Version, c.build.GoVersion)
	s, age := c.board.Current()
	if s == nil {
		return
	}
	e.daemon(s, age)
	for i := range s.Totals {
		if s.Totals[i].Circuit != "" {
			continue
		}
		e.totals(s.Site, &s.Totals[i])
	}
	e.eventsActive(s)
	for i := range s.Sources {
		e.source(&s.Sources[i], s.Time, age)
	}
	if age > snapshot.MaxAge {
		return // the main loop hangs: nothing is known of the plant now
	}
	for i := range s.States {
		e.state(s.Site, &s.States[i])
		if b, ok := s.Budget(i); ok && !math.IsNaN(float64(s.States[i].Superheat)) {
			e.budget(s.Site, &s.States[i], &b)
		}
	}
	for i := range s.Inputs {
		e.input(s, i, age)
	}
	for i := range s.Notices {
		n := &s.Notices[i]
		e.gauge(trendLimit, n.Days*86400, s.Site, n.Group, n.Circuit+n.Compressor, n.Quantity)
	}
}

// emitter sends each series once, with labels that are valid text.
type emitter struct {
	out  chan<- prometheus.Metric
	sent map[string]bool
}

func (e *emitter) gauge(d *prometheus.Desc, v float64, labels ...string) {
	e.send(d, prometheus.GaugeValue, v, labels)
}

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
	for i, l := range labels {
		labels[i] = strings.ToValidUTF8(l, "\uFFFD")
	}
	key := d.String() + "\xff" + strings.Join(labels, "\xff")
	if e.sent[key] {
		return
	}
	e.sent[key] = true
	e.out <- prometheus.MustNewConstMetric(d, t, v, labels...)
}

func (e *emitter) state(site string, st *analyze.State) {
	who := func(more ...string) []string { return append([]string{site, st.Group, st.Name}, more...) }
	if st.Quality == reading.Good || st.Quality == reading.Suspect {
		e.gauge(superheat, float64(st.Superheat), who()...)
		e.gauge(margin, float64(st.Margin), who()...)
		if !math.IsNaN(float64(st.Superheat)) { // a stopped compressor has none
			e.gauge(uncertainty, float64(st.Uncertainty), who()...)
		}
	}
	e.gauge(floor, float64(st.Floor), who()...)
	e.gauge(pressure, float64(st.SuctionPressure), who()...)
	e.gauge(dew, float64(st.Dew), who()...)
	e.gauge(line, float64(st.SuctionTemperature), who()...)
	for p := range frame.Phase(frame.PhaseCount) {
		e.flag(phases, st.Phase == p, who(p.String())...)
	}
}

func (e *emitter) budget(site string, st *analyze.State, b *uncertain.Budget) {
	for _, p := range b.Parts {
		e.gauge(part, uncertain.Coverage*float64(p.Standard), site, st.Group, st.Name, p.Name)
	}
	e.gauge(sensorLag, b.Lag.Lag.Seconds(), site, st.Group, st.Name, b.Lag.Source())
}

// eventsActive sends every combination that a compressor can have, so that an
// alert rule sees 0 and not nothing; for a group's own inputs those of inputs.
func (e *emitter) eventsActive(s *snapshot.Snapshot) {
	for _, ev := range s.Open {
		e.flag(eventActive, true, s.Site, ev.Group, ev.Compressor, ev.Kind, ev.Severity)
	}
	for _, t := range s.Totals {
		if t.Circuit != "" {
			continue
		}
		for k := range floodback.Kind(floodback.KindCount) {
			if t.Compressor == "" && k != floodback.SensorFault && k != floodback.NoData {
				continue
			}
			for _, severity := range alert.SeveritiesOf(k) {
				e.flag(eventActive, false, s.Site, t.Group, t.Compressor, k.String(), severity.String())
			}
		}
	}
}

func (e *emitter) totals(site string, t *alert.Totals) {
	for _, n := range t.Events {
		e.counter(events, float64(n.Opened), site, t.Group, t.Compressor, n.Kind, n.Severity)
		if n.Escalated > 0 {
			e.counter(escalations, float64(n.Escalated), site, t.Group, t.Compressor, n.Kind, n.Severity)
		}
	}
	// A counter that begins at its first event hides that event from increase().
	for k := range floodback.Kind(floodback.KindCount) {
		if t.Compressor == "" && k != floodback.SensorFault && k != floodback.NoData {
			continue
		}
		for _, severity := range alert.SeveritiesOf(k) {
			e.counter(events, 0, site, t.Group, t.Compressor, k.String(), severity.String())
		}
	}
	if t.Compressor == "" {
		return
	}
	e.counter(below, t.FloodbackSeconds, site, t.Group, t.Compressor)
	e.counter(dose, t.FloodbackKelvinSeconds, site, t.Group, t.Compressor)
	e.counter(withdrawn, t.FloodbackWithdrawnSeconds, site, t.Group, t.Compressor)
	e.counter(running, t.RunningSeconds, site, t.Group, t.Compressor)
	e.counter(starts, float64(t.Starts), site, t.Group, t.Compressor)
}

func (e *emitter) input(s *snapshot.Snapshot, i int, age time.Duration) {
	if i >= len(s.Points) {
		return
	}
	in, path := &s.Inputs[i], s.Points[i].Path
	if !in.At.IsZero() {
		e.gauge(inputAge, max(0, s.Time.Sub(in.At)+age).Seconds(), s.Site, path)
	}
	for q := reading.Missing; q <= reading.Bad; q++ {
		e.flag(inputQuality, in.Quality == q, s.Site, path, q.String())
	}
}
