package remotewrite

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"math"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/golang/snappy"
	"google.golang.org/protobuf/encoding/protowire"

	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/collector/recording"
	"dewgap/config"
)

// store is a receiver: it takes samples as a Prometheus does, in order for each
// series.
type store struct {
	mu       sync.Mutex
	series   map[string]map[int64]float64
	last     map[string]int64
	doubles  int // samples that came twice with the same value
	faults   []string
	requests int
	at       []time.Time // of the requests
	// answer decides on a request before it is stored; 0: it is taken.
	answer func(oldest int64) (code int, header map[string]string, text string)
	// left is how many requests are stored until the network fails: the last one gets
	// no answer. 0: there is no such end.
	left int
	down bool // no connection
}

func newStore() *store {
	return &store{series: map[string]map[int64]float64{}, last: map[string]int64{}}
}

type fields map[protowire.Number][][]byte

// message splits an encoded message; varints and fixed values come as they are on
// the wire.
func message(b []byte) (fields, error) {
	all := fields{}
	for len(b) > 0 {
		number, kind, n := protowire.ConsumeTag(b)
		if n < 0 {
			return nil, protowire.ParseError(n)
		}
		b = b[n:]
		size := protowire.ConsumeFieldValue(number, kind, b)
		if size < 0 {
			return nil, protowire.ParseError(size)
		}
		value := b[:size]
		if kind == protowire.BytesType {
			value, _ = protowire.ConsumeBytes(b)
		}
		all[number] = append(all[number], value)
		b = b[size:]
	}
	return all, nil
}

type stored struct {
	series string
	at     int64
	value  float64
}

// decode reads the body of a request, by the messages of remote write 1.0.
func decode(body []byte) (all []stored, err error) {
	raw, err := snappy.Decode(nil, body)
	if err != nil {
		return nil, err
	}
	request, err := message(raw)
	if err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for _, one := range request[1] {
		series, err := message(one)
		if err != nil {
			return nil, err
		}
		var labels, names []string
		for _, l := range series[1] {
			label, err := message(l)
			if err != nil || len(label[1]) != 1 || len(label[2]) != 1 || len(label[2][0]) == 0 {
				return nil, fmt.Errorf("label %q: %w", l, err)
			}
			names = append(names, string(label[1][0]))
			labels = append(labels, fmt.Sprintf("%s=%q", label[1][0], label[2][0]))
		}
		if !slices.IsSorted(names) || len(slices.Compact(slices.Clone(names))) != len(names) || !slices.Contains(names, "__name__") {
			return nil, fmt.Errorf("labels %q are not in order, or twice, or have no name", names)
		}
		key := strings.Join(labels, ",")
		if seen[key] {
			return nil, fmt.Errorf("%s is twice in a request", key)
		}
		seen[key] = true
		for _, s := range series[2] {
			fields, err := message(s)
			if err != nil || len(fields[1]) != 1 || len(fields[2]) != 1 {
				return nil, fmt.Errorf("sample %x: %w", s, err)
			}
			bits, _ := protowire.ConsumeFixed64(fields[1][0])
			at, _ := protowire.ConsumeVarint(fields[2][0])
			all = append(all, stored{key, int64(at), math.Float64frombits(bits)})
		}
	}
	return all, nil
}

func (s *store) ServeHTTP(w http.ResponseWriter, q *http.Request) {
	body, err := io.ReadAll(q.Body)
	if err != nil {
		return // the sender was killed
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.requests++
	s.at = append(s.at, time.Now())
	for name, want := range map[string]string{"Content-Type": "application/x-protobuf", "Content-Encoding": "snappy", "X-Prometheus-Remote-Write-Version": "0.1.0"} {
		if q.Header.Get(name) != want {
			s.faults = append(s.faults, fmt.Sprintf("%s is %q", name, q.Header.Get(name)))
		}
	}
	all, err := decode(body)
	if err != nil || len(all) == 0 {
		s.faults = append(s.faults, fmt.Sprintf("%d samples, %v", len(all), err))
	}
	oldest := int64(math.MaxInt64)
	for _, one := range all {
		oldest = min(oldest, one.at)
		if one.at > time.Now().UnixMilli() {
			s.faults = append(s.faults, fmt.Sprintf("%s has a sample of the future: %s", one.series, time.UnixMilli(one.at)))
		}
	}
	if s.answer != nil {
		if code, header, text := s.answer(oldest); code != 0 {
			for name, value := range header {
				w.Header().Set(name, value)
			}
			http.Error(w, text, code)
			return
		}
	}
	for _, one := range all {
		s.take(one)
	}
	if s.left > 0 {
		if s.left--; s.left == 0 {
			s.down = true
			panic(http.ErrAbortHandler)
		}
	}
	w.WriteHeader(http.StatusNoContent)
}

func (s *store) take(one stored) {
	if s.series[one.series] == nil {
		s.series[one.series] = map[int64]float64{}
	}
	if before, ok := s.series[one.series][one.at]; ok {
		s.doubles++
		if before != one.value && !(math.IsNaN(before) && math.IsNaN(one.value)) {
			s.faults = append(s.faults, fmt.Sprintf("%s at %d was %g and is %g", one.series, one.at, before, one.value))
		}
		return
	}
	if one.at < s.last[one.series] {
		s.faults = append(s.faults, fmt.Sprintf("%s is out of order: %d after %d", one.series, one.at, s.last[one.series]))
	}
	s.last[one.series] = one.at
	s.series[one.series][one.at] = one.value
}

// set changes the store.
func (s *store) set(f func(s *store)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f(s)
}

// listener hands over connections that live in memory, so that the time of a
// bubble goes on while they are idle.
type listener struct {
	conns chan net.Conn
	done  chan struct{}
	once  sync.Once
}

func (l *listener) Accept() (net.Conn, error) {
	select {
	case c := <-l.conns:
		return c, nil
	case <-l.done:
		return nil, net.ErrClosed
	}
}
func (l *listener) Close() error   { l.once.Do(func() { close(l.done) }); return nil }
func (l *listener) Addr() net.Addr { return &net.TCPAddr{} }

const siteText = `[site]
name = "demo"
[[suction_group]]
name = "mt"
refrigerant = "R448A"
[[suction_group.compressor]]
name = "c1"
[[suction_group.circuit]]
name = "case-1"
`

// bench is a site that records, a writer and a store, in the time of a bubble.
type bench struct {
	t        *testing.T
	dir      string
	store    *store
	listener *listener
	recorder *recording.Recorder
	board    *snapshot.Board
	line     *pipeline.Pipeline
	setting  Setting
	wet      bool // liquid comes back
	writer   *Writer
	ends     []func()
	rows     int
}

func newBench(t *testing.T, every time.Duration) *bench {
	t.Helper()
	dir := t.TempDir()
	cfg, err := config.Parse("site.toml", []byte(siteText))
	if err != nil {
		t.Fatal(err)
	}
	site, err := cfg.ForRecording([]string{"mt.suction_pressure", "mt.c1.suction_temperature", "mt.c1.running", "mt.case-1.defrost"})
	if err != nil {
		t.Fatal(err)
	}
	line, err := pipeline.New(site)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, dir: dir, store: newStore(), board: snapshot.NewBoard(time.Now), line: line}
	b.setting = Setting{
		Site: site, Recordings: filepath.Join(dir, "recordings"), Dir: filepath.Join(dir, "cursors"), Now: time.Now, Board: b.board,
		Receivers: []config.RemoteWrite{{Name: "central", URL: "http://central.example/api/v1/write", Every: every}}, Log: slog.New(slog.NewTextHandler(t.Output(), nil)),
	}
	b.listener = &listener{conns: make(chan net.Conn), done: make(chan struct{})}
	server := &http.Server{Handler: b.store, ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)}
	served := make(chan error, 1)
	go func() { served <- server.Serve(b.listener) }()
	t.Cleanup(func() {
		server.Close()
		<-served
	})
	b.record()
	return b
}

// record begins a recording, as a start of the daemon does.
func (b *bench) record() {
	recorder := recording.NewRecorder(b.setting.Recordings, b.setting.Site.Points, recording.Limits{Bytes: 1e9, Every: 10 * time.Minute}, nil)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { _ = recorder.Run(ctx); close(ended) }()
	b.recorder = recorder
	b.ends = append(b.ends, func() {
		stop()
		<-ended
		if err := recorder.Close(); err != nil {
			b.t.Error(err)
		}
	})
}

// start starts a writer; the returned function kills it.
func (b *bench) start() (kill func()) {
	w := New(b.setting)
	for _, r := range w.receivers {
		r.client.Transport.(*http.Transport).DialContext = func(ctx context.Context, _, _ string) (net.Conn, error) {
			down := false
			b.store.set(func(s *store) { down = s.down })
			if down {
				return nil, errors.New("network is unreachable")
			}
			here, there := net.Pipe()
			select {
			case b.listener.conns <- there:
				return here, nil
			case <-ctx.Done():
				return nil, ctx.Err()
			}
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		if err := w.Run(ctx); err != nil {
			b.t.Error(err)
		}
		close(ended)
	}()
	b.writer = w
	return func() { stop(); <-ended }
}

func (b *bench) end() {
	for _, end := range b.ends {
		end()
	}
	b.ends = nil
}

// pass lets a time pass in which a row is recorded each period.
func (b *bench) pass(d, period time.Duration) {
	for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(period) {
		b.row()
	}
}

// row records what an invented plant shows now: it stops a quarter of each hour and
// defrosts every six hours.
func (b *bench) row() {
	now := time.Now()
	minute := now.Sub(now.Truncate(time.Hour)).Minutes()
	value := map[string]float64{"mt.suction_pressure": 2.5e5 + 5e3*math.Sin(float64(b.rows)), "mt.c1.suction_temperature": 6 + math.Cos(float64(b.rows)), "mt.c1.running": 1, "mt.case-1.defrost": 0}
	if minute >= 45 {
		value["mt.c1.running"] = 0
	}
	if now.Hour()%6 == 5 && minute >= 45 {
		value["mt.case-1.defrost"] = 1
	}
	if b.wet {
		value["mt.c1.suction_temperature"] = -8
	}
	row := reading.Row{Time: now.UTC()}
	for i, p := range b.setting.Site.Points {
		row.Readings = append(row.Readings, reading.Reading{Point: i, Time: row.Time, Value: value[p.Path], Quality: reading.Good})
	}
	b.rows++
	b.recorder.Append(row)
	result, _ := b.line.Step(&row)
	s := snapshot.Of(b.setting.Site, b.line, result)
	s.Receivers = nil
	if b.writer != nil {
		s.Receivers = b.writer.Status()
	}
	b.board.Publish(s)
}

// faultless checks what the store found wrong.
func (b *bench) faultless() {
	b.t.Helper()
	b.store.set(func(s *store) {
		for i, f := range s.faults {
			if i < 5 {
				b.t.Error(f)
			}
		}
	})
}

const running = `__name__="dewgap_compressor_running_seconds_total",compressor="c1",group="mt",site="demo"`
const rowTime = `__name__="dewgap_row_timestamp_seconds",site="demo"`

// ofRows are the samples of the store that follow from rows alone.
func ofRows(s *store) map[string]map[int64]float64 {
	all := map[string]map[int64]float64{}
	for key, samples := range s.series {
		machine := false
		for _, name := range []string{"build_info", "remote_write_", "fault_active", "journal_", "ledger_", "late_rows"} {
			machine = machine || strings.HasPrefix(key, `__name__="dewgap_`+name)
		}
		if !machine {
			all[key] = samples
		}
	}
	return all
}

// An outage of 14 days is filled afterwards in order, without a gap and without a
// double; also when the writer is killed in the middle of the outage and of the
// filling, and an answer is lost. What arrives is what would have arrived without
// any of it.
func TestOutageOf14DaysIsFilled(t *testing.T) {
	every, outage := 5*time.Minute, 14*24*time.Hour
	requests := 15 // until it is killed
	if testing.Short() {
		outage, requests = 5*24*time.Hour, 5
	}
	run := func(t *testing.T, cut bool) (got map[string]map[int64]float64) {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, every)
			defer b.end()
			kill := b.start()
			b.pass(30*time.Hour, time.Minute)
			b.store.set(func(s *store) { s.down = cut })
			b.pass(outage/2, time.Minute)
			if cut {
				if f := b.writer.Status()[0]; !strings.Contains(f.Fault, "unreachable") || f.Failures == 0 {
					t.Errorf("status %+v", f)
				}
				kill()
				kill = b.start()
			}
			b.pass(outage/2, time.Minute)
			if cut {
				behind := time.Since(b.writer.Status()[0].UpTo)
				if behind < outage || behind > outage+time.Hour {
					t.Errorf("%v behind after the outage", behind)
				}
				kill()
				for range 3 { // killed while it fills; the last answer of each is lost
					b.store.set(func(s *store) { s.down, s.left = false, requests })
					kill = b.start()
					b.pass(2*time.Minute, time.Minute)
					kill()
					if behind := time.Since(b.writer.Status()[0].UpTo); behind < 24*time.Hour {
						t.Fatalf("%v behind: it was not killed in the middle", behind)
					}
				}
				b.store.set(func(s *store) { s.down = false })
				kill = b.start()
			} else {
				b.pass(6*time.Minute, time.Minute)
			}
			b.pass(6*time.Hour, time.Minute)
			if behind := time.Since(b.writer.Status()[0].UpTo); behind > every+10*time.Minute+lookEvery {
				t.Errorf("%v behind in the end", behind)
			}
			kill()
			b.faultless()
			t.Logf("%d requests, %d series, %d samples that came twice", b.store.requests, len(b.store.series), b.store.doubles)
			got = ofRows(b.store)
		})
		return got
	}
	var whole, filled map[string]map[int64]float64
	t.Run("whole", func(t *testing.T) { whole = run(t, false) })
	t.Run("cut", func(t *testing.T) { filled = run(t, true) })
	// Whether the row of the instant of a write is in it is chance.
	end := epoch.Add(30*time.Hour + outage + 5*time.Hour + 30*time.Minute).UnixMilli()
	for _, all := range []map[string]map[int64]float64{whole, filled} {
		for _, samples := range all {
			maps.DeleteFunc(samples, func(at int64, _ float64) bool { return at > end })
		}
		maps.DeleteFunc(all, func(_ string, samples map[int64]float64) bool { return len(samples) == 0 })
	}
	compare(t, whole, filled)
	// No gap: an instant in each span of five minutes.
	times := slices.Sorted(func(yield func(int64) bool) {
		for at := range filled[rowTime] {
			if !yield(at) {
				return
			}
		}
	})
	for i := 1; i < len(times); i++ {
		if step := time.Duration(times[i]-times[i-1]) * time.Millisecond; step != every {
			t.Fatalf("%v between %s and the next", step, time.UnixMilli(times[i-1]))
		}
	}
	if want := int((outage + 35*time.Hour) / every); len(times) < want {
		t.Errorf("%d instants, want %d", len(times), want)
	}
	// Counters never go back.
	before := 0.0
	for _, at := range times {
		v := filled[running][at]
		if v < before {
			t.Fatalf("running time goes from %g to %g at %s", before, v, time.UnixMilli(at))
		}
		before = v
	}
	if want := 0.7 * (outage + 35*time.Hour).Seconds(); before < want {
		t.Errorf("%g s running in the end, want %g at least", before, want)
	}
}

// compare holds what came in pieces against what came in one go. The filters of
// the analysis begin a day before: what is left of their beginning is below
// 1e-6.
func compare(t *testing.T, whole, pieces map[string]map[int64]float64) {
	t.Helper()
	n := 0
	for key, samples := range whole {
		for at, v := range samples {
			n++
			got, ok := pieces[key][at]
			if !ok || math.IsNaN(v) != math.IsNaN(got) || math.Abs(got-v) > 1e-6*max(1, math.Abs(v)) {
				t.Fatalf("%s at %s: %g, %t; want %g", key, time.UnixMilli(at).UTC(), got, ok, v)
			}
		}
		if len(samples) != len(pieces[key]) {
			t.Fatalf("%s: %d samples, want %d", key, len(pieces[key]), len(samples))
		}
	}
	if len(whole) != len(pieces) || n == 0 {
		t.Errorf("%d series, want %d", len(pieces), len(whole))
	}
	t.Logf("%d samples are the same", n)
}

// Each answer has its consequence.
func TestAnswers(t *testing.T) {
	for _, c := range []struct {
		name   string
		answer func(s *store, oldest int64) (int, map[string]string, string)
		check  func(t *testing.T, b *bench, s snapshot.Receiver)
	}{
		{"out of order: go on and count", func(s *store, _ int64) (int, map[string]string, string) {
			if s.requests <= 2 {
				return 400, nil, "out of order sample"
			}
			return 0, nil, ""
		}, func(t *testing.T, b *bench, s snapshot.Receiver) {
			if s.Rejected["refused"] == 0 || s.Failures != 2 || s.Fault != "" || s.Samples == 0 {
				t.Errorf("%+v", s)
			}
		}},
		{"too old: give up that span and no more", func(s *store, oldest int64) (int, map[string]string, string) {
			if oldest < epoch.Add(90*time.Minute).UnixMilli() {
				return 500, nil, "too old sample"
			}
			return 0, nil, ""
		}, func(t *testing.T, b *bench, s snapshot.Receiver) {
			if s.Rejected["too_old"] == 0 || !s.GivenTo.Equal(epoch.Add(85*time.Minute)) || s.GivenFrom.Before(epoch) || s.Fault != "" {
				t.Errorf("%+v", s)
			}
			first := int64(math.MaxInt64)
			for at := range b.store.series[rowTime] {
				first = min(first, at)
			}
			if first != epoch.Add(90*time.Minute).UnixMilli() {
				t.Errorf("the first sample is of %s", time.UnixMilli(first).UTC())
			}
		}},
		{"too large: in parts", func(s *store, oldest int64) (int, map[string]string, string) {
			if s.requests == 1 {
				return 413, nil, ""
			}
			return 0, nil, ""
		}, func(t *testing.T, b *bench, s snapshot.Receiver) {
			if s.Samples == 0 || s.Fault != "" || s.Rejected["too_large"] != 0 && len(b.store.series[rowTime]) < 30 {
				t.Errorf("%+v", s)
			}
		}},
		{"a wait that it asks for", func(s *store, _ int64) (int, map[string]string, string) {
			if s.requests == 1 {
				return 429, map[string]string{"Retry-After": "100"}, ""
			}
			return 0, nil, ""
		}, func(t *testing.T, b *bench, s snapshot.Receiver) {
			if wait := b.store.at[1].Sub(b.store.at[0]); wait < 100*time.Second || wait > 101*time.Second || s.Samples == 0 {
				t.Errorf("it came again after %v: %+v", wait, s)
			}
		}},
		{"a failure: longer and longer, an hour at most", func(s *store, _ int64) (int, map[string]string, string) { return 502, nil, "no" },
			func(t *testing.T, b *bench, s snapshot.Receiver) {
				if s.Fault != "http://central.example answered 502 Bad Gateway: no" || s.Samples != 0 || s.Failures < 15 {
					t.Errorf("%+v", s)
				}
				for i := 1; i < len(b.store.at); i++ {
					wait, full := b.store.at[i].Sub(b.store.at[i-1]), min(time.Second<<min(i-1, 12), time.Hour)
					if wait < full*8/10-time.Millisecond || wait > full+time.Second {
						t.Errorf("wait %d is %v", i, wait)
					}
				}
			}},
		{"a wrong password costs no data", func(s *store, _ int64) (int, map[string]string, string) {
			if s.requests <= 3 {
				return 401, nil, ""
			}
			return 0, nil, ""
		}, func(t *testing.T, b *bench, s snapshot.Receiver) {
			if len(s.Rejected) != 0 || s.Samples == 0 || s.Fault != "" {
				t.Errorf("%+v", s)
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t, 5*time.Minute)
				defer b.end()
				b.store.answer = func(oldest int64) (int, map[string]string, string) { return c.answer(b.store, oldest) }
				kill := b.start()
				b.pass(12*time.Hour, time.Minute)
				kill()
				b.faultless()
				b.store.set(func(s *store) { c.check(t, b, b.writer.Status()[0]) })
			})
		})
	}
}

// epoch is when a bubble begins.
var epoch = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// A series that is no longer known ends at once.
func TestWhatIsNoLongerKnownEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, time.Minute)
		defer b.end()
		kill := b.start()
		b.pass(30*time.Minute, time.Minute)
		b.wet = true
		b.pass(10*time.Minute, 10*time.Second)
		b.wet = false
		b.pass(2*time.Hour, time.Minute)
		kill()
		b.faultless()
		ends := 0
		for key, samples := range b.store.series {
			if !strings.HasPrefix(key, `__name__="dewgap_event_info"`) || !strings.Contains(key, `kind="floodback"`) {
				continue
			}
			last := int64(0)
			for at := range samples {
				last = max(last, at)
			}
			if math.Float64bits(samples[last]) == math.Float64bits(staleMarker) {
				ends++
			}
		}
		if ends == 0 {
			t.Error("no series of an event has ended")
		}
	})
}

// Rows that were recorded under a clock that ran ahead are not sent, and hold
// nothing up.
func TestNothingOfTheFuture(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, time.Minute)
		defer b.end()
		b.pass(time.Hour, time.Minute)
		behind := -40 * time.Minute // the clock was put right by so much
		b.setting.Now = func() time.Time { return time.Now().Add(behind) }
		kill := b.start()
		b.pass(20*time.Minute, time.Minute)
		kill()
		b.store.set(func(s *store) {
			for at := range s.series[rowTime] {
				if time.UnixMilli(at).After(time.Now().Add(behind)) {
					t.Errorf("a row of %s was sent at %s", time.UnixMilli(at).UTC(), time.Now().Add(behind).UTC())
				}
			}
		})
	})
}

// The metrics of a receiver are among what it gets, and its fault is on the page.
func TestOwnMetrics(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, time.Minute)
		defer b.end()
		kill := b.start()
		b.pass(2*time.Hour, time.Minute)
		kill()
		b.faultless()
		for _, name := range []string{"remote_write_behind_seconds", "remote_write_samples_total", "remote_write_failures_total"} {
			if key := fmt.Sprintf(`__name__="dewgap_%s",receiver="central",site="demo"`, name); len(b.store.series[key]) == 0 {
				t.Error("no", key)
			}
		}
		s, _ := b.board.Current()
		s.Receivers[0].Fault = "unreachable"
		if faults := s.AllFaults(); len(faults) != 1 || faults[0].What != "remote_write" || faults[0].Text != "receiver central: unreachable" {
			t.Error(faults)
		}
	})
}

func TestBackoff(t *testing.T) {
	for failed, want := range map[int]time.Duration{0: time.Second, 1: 2 * time.Second, 11: 2048 * time.Second, 12: time.Hour, 1000: time.Hour} {
		if got := backoff(failed); got > want || got < want*8/10 {
			t.Errorf("after %d: %v, want up to %v", failed, got, want)
		}
	}
}

var _ metrics.Board = (*snapshot.Board)(nil)

// Of a recording that is still written, what lies before the hour that is wanted is
// not read, damaged as it may be, and what comes later is waited for.
func TestFollowingBeginsWithTheHour(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, time.Minute)
		defer b.end()
		b.pass(5*time.Hour+30*time.Minute, time.Minute)
		time.Sleep(10 * time.Minute) // it is written
		files, err := recording.Files(b.setting.Recordings)
		if err != nil || len(files) != 1 {
			t.Fatalf("%v, %v", files, err)
		}
		f, err := os.OpenFile(files[0].Path, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		index, err := os.ReadFile(files[0].Path + ".index")
		if err != nil {
			t.Fatal(err)
		}
		var second int64 // where the second hour begins
		if _, err := fmt.Sscan(strings.Split(string(index), "\n")[2], &second); err != nil {
			t.Fatal(err)
		}
		if _, err := f.WriteAt(make([]byte, 200), second+40); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		follow := follower{dir: b.setting.Recordings, site: b.setting.Site, now: time.Now, said: t.Errorf}
		from := time.Now().Add(-2 * time.Hour)
		var times []time.Time
		ended := make(chan error, 1)
		go func() {
			ended <- follow.run(ctx, from, func(row *reading.Row) error { times = append(times, row.Time); return nil })
		}()
		b.pass(40*time.Minute, time.Minute)
		last := time.Now().Add(-time.Minute)
		time.Sleep(15 * time.Minute)
		stop()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
		if len(times) == 0 || !times[0].Equal(from.Truncate(time.Hour)) || !times[len(times)-1].Equal(last) {
			t.Fatalf("%d rows from %v to %v, want from %s to %s", len(times), times[:min(1, len(times))], times[max(0, len(times)-1):], from.Truncate(time.Hour), last)
		}
	})
}
