package mqtt

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	"dewgap/analyze/reading"
	"dewgap/collector/register"
	"dewgap/simulators/devices"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// patience is how long a test waits for what must come. It says only when to
// give up: no test's outcome hangs on how fast the machine is.
const patience = time.Minute

// sink hands readings to the test; a full one overwrites nothing and blocks
// nobody.
type sink chan reading.Reading

func (s sink) Put(r reading.Reading) {
	select {
	case s <- r:
	default:
	}
}

// next waits for a reading that ok accepts.
func (s sink) next(t *testing.T, what string, ok func(reading.Reading) bool) reading.Reading {
	t.Helper()
	limit := time.After(patience)
	var last reading.Reading
	for {
		select {
		case last = <-s:
			if ok(last) {
				return last
			}
		case <-limit:
			t.Fatalf("waited for %s; last was %+v", what, last)
		}
	}
}

func startBroker(t *testing.T) *devices.MQTTBroker {
	t.Helper()
	b, err := devices.StartMQTTBroker("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Stop() })
	return b
}

func settings(t *testing.T, address string) Settings {
	return Settings{Name: "b", URL: "tcp://" + address, Points: []Point{
		{Index: 0, Path: "mt.c1.suction_temperature", Topic: "rack/t", Pointer: "/value", TimePointer: "/time", Mapping: register.Mapping{Unit: degC(t)}},
		{Index: 1, Path: "mt.c1.sump_temperature", Topic: "rack/s", Mapping: register.Mapping{Unit: degC(t)}},
	}}
}

// run starts a source and returns how to end it.
func run(t *testing.T, set Settings) (*Source, sink, func()) {
	t.Helper()
	s, err := New(set, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s.backoff = func(int) time.Duration { return 20 * time.Millisecond }
	out := make(sink, 10000)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx, out) }()
	stop := func() {
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("Run: %v", err)
			}
		case <-time.After(patience):
			t.Error("Run did not leave")
		}
	}
	return s, out, stop
}

// until asks again and again, without sleeping between: what it asks takes
// its time.
func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	limit := time.After(patience)
	for !ok() {
		select {
		case <-tick.C:
		case <-limit:
			t.Fatalf("waited for %s", what)
		}
	}
}

func stamped(v float64) []byte {
	return fmt.Appendf(nil, `{"time":%q,"value":%g}`, time.Now().UTC().Format(time.RFC3339Nano), v)
}

func isGood(point int, v float64) func(reading.Reading) bool {
	return func(r reading.Reading) bool {
		return r.Quality == reading.Good && r.Point == point && r.Value == v
	}
}

func hasCode(code string) func(reading.Reading) bool {
	return func(r reading.Reading) bool { return reading.CodeOf(r.Reason) == code }
}

func TestTrap18BrokerRestarts(t *testing.T) {
	b := startBroker(t)
	s, out, stop := run(t, settings(t, b.Address()))
	defer stop()
	for i := range 3 {
		until(t, "up", func() bool { return s.Status().Up })
		v := float64(i) + 0.5
		b.Publish("rack/t", stamped(v), false)
		out.next(t, "a value", isGood(0, v))
		if err := b.Stop(); err != nil {
			t.Fatal(err)
		}
		r := out.next(t, "the loss", hasCode(reading.Disconnected))
		if r.Quality != reading.Missing {
			t.Errorf("the loss is %v", r.Quality)
		}
		until(t, "down", func() bool { return !s.Status().Up })
		if err := b.Start(); err != nil {
			t.Fatal(err)
		}
	}
	if st := s.Status(); st.Reconnects < 3 || !st.Delivered || st.Errors[reading.Disconnected] < 3 {
		t.Errorf("status %+v", st)
	}
}

func TestTrap19UpIsNotTheLibrarysConnected(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close() // nobody listens there now
	s, out, stop := run(t, settings(t, address))
	defer stop()
	out.next(t, "a refusal", hasCode(reading.Refused))
	if st := s.Status(); st.Up || !strings.Contains(st.Reason, "nothing listens") {
		t.Errorf("status %+v", st)
	}
}

// TestTrap19UpComesWithTheSubscription: neither a connection nor CONNACK is
// enough.
func TestTrap19UpComesWithTheSubscription(t *testing.T) {
	onScript(t, nil, func(_ int, c *peer) {
		<-time.After(2 * time.Second)
		c.accept(0)
		<-time.After(2 * time.Second)
		c.grant()
		c.listen(time.Hour)
	}, func(s *Source, out *readings) {
		if out.pass(time.Second); s.Status().Up {
			t.Error("up before the broker has let us in")
		}
		if out.pass(2 * time.Second); s.Status().Up {
			t.Error("up before it has subscribed")
		}
		if out.pass(2 * time.Second); !s.Status().Up {
			t.Errorf("not up though subscribed: %+v", s.Status())
		}
	})
}

func TestTrap21RetainedMessageIsNoFreshReading(t *testing.T) {
	b := startBroker(t)
	b.Publish("rack/s", []byte("5"), true)
	_, out, stop := run(t, settings(t, b.Address()))
	defer stop()
	r := out.next(t, "the retained message", func(r reading.Reading) bool { return r.Point == 1 })
	if r.Quality != reading.Missing || !strings.Contains(r.Reason, "retained") {
		t.Errorf("got %+v", r)
	}
	b.Publish("rack/s", []byte("6"), true)
	out.next(t, "the live one", isGood(1, 6))
}

func TestTrap22HugeMessageIsRefusedAndTheConnectionStays(t *testing.T) {
	b := startBroker(t)
	s, out, stop := run(t, settings(t, b.Address()))
	defer stop()
	until(t, "up", func() bool { return s.Status().Up })
	b.Publish("rack/s", []byte(strings.Repeat("7", 1<<20)), false)
	if r := out.next(t, "the refusal", hasCode("too-large")); r.Quality != reading.Bad {
		t.Errorf("got %+v", r)
	}
	b.Publish("rack/s", []byte("7"), false)
	out.next(t, "the next", isGood(1, 7))
	if n := s.Status().Reconnects; n != 0 {
		t.Errorf("%d connections after the first", n)
	}
}

func TestTrap17InboxIsBoundedAndNewestWins(t *testing.T) {
	s, err := New(settings(t, "127.0.0.1:1"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 100_000 {
		s.box.put(nil, fake{"rack/s", fmt.Append(nil, i)})
		s.box.put(nil, fake{fmt.Sprint("stray/", i), []byte("1")}) // trap 27: unbounded topics
	}
	n, last := 0, ""
	s.box.drain(func(_ string, m message) { n++; last = string(m.payload) })
	if n != 1 || last != "99999" || len(s.box.newest) != 2 || s.box.unexpected != 100_000 {
		t.Errorf("%d messages, last %q, %d topics, %d strays", n, last, len(s.box.newest), s.box.unexpected)
	}
}

type fake struct {
	topic   string
	payload []byte
}

func (f fake) Duplicate() bool   { return false }
func (f fake) Qos() byte         { return 0 }
func (f fake) Retained() bool    { return false }
func (f fake) Topic() string     { return f.topic }
func (f fake) MessageID() uint16 { return 0 }
func (f fake) Payload() []byte   { return f.payload }
func (f fake) Ack()              {}

// slowSink stands for whatever is slow behind the hand-over.
type slowSink struct {
	gate chan struct{}
	got  atomic.Int64
}

func (s *slowSink) Put(reading.Reading) { s.got.Add(1); <-s.gate }

func TestTrap16AStuckReceiverDoesNotStopTheClient(t *testing.T) {
	b := startBroker(t)
	s, err := New(settings(t, b.Address()), Options{})
	if err != nil {
		t.Fatal(err)
	}
	out := &slowSink{gate: make(chan struct{})}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx, out) }()
	until(t, "up", func() bool { return s.Status().Up })
	b.Publish("rack/s", []byte("1"), false)
	until(t, "the first", func() bool { return out.got.Load() == 1 })
	for i := range 500 { // more than any channel of the client holds
		b.Publish("rack/s", fmt.Append(nil, i), false)
	}
	until(t, "the newest in the inbox", func() bool {
		s.box.mu.Lock()
		defer s.box.mu.Unlock()
		return string(s.box.newest["rack/s"].payload) == "499"
	})
	close(out.gate)
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestTrap32ABrokerThatNeverAnswersHoldsNobodyUp(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	_, _, stop := run(t, settings(t, l.Addr().String()))
	conn, err := l.Accept()
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	stop() // fails after 5 s
}

func TestReadOnce(t *testing.T) {
	b := startBroker(t)
	b.Publish("rack/t", stamped(-6.5), true)
	b.Publish("rack/s", []byte("5"), true)
	seen, err := ReadOnce(t.Context(), settings(t, b.Address()), nil, 200*time.Millisecond)
	if err != nil || len(seen) != 2 {
		t.Fatal(seen, err)
	}
	if s := seen[0]; !s.Answered || !s.Retained || s.Value != -6.5 || s.Quality != reading.Good || !strings.Contains(s.Payload, "-6.5") {
		t.Errorf("%+v", s)
	}
	if s := seen[1]; !s.Answered || s.Payload != "5" || s.Quality != reading.Missing || !strings.Contains(s.Reason, "unknown age") {
		t.Errorf("%+v", s)
	}
	b.Stop()
	if _, err := ReadOnce(t.Context(), settings(t, b.Address()), nil, time.Second); err == nil || !strings.Contains(err.Error(), "nothing listens") {
		t.Errorf("no broker: %v", err)
	}
}

func TestSettingsAreChecked(t *testing.T) {
	for url, want := range map[string]string{
		"http://x":           "want tcp, ssl, ws or wss",
		"tcp://me:secret@x":  "holds a user",
		"tcp://":             "no host",
		"mqtt://broker.test": "",
	} {
		set := settings(t, "x")
		set.URL = url
		_, err := New(set, Options{})
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "secret")) {
			t.Errorf("%s: %v", url, err)
		}
	}
	if r := reasonOf(errors.New("x")); reading.QualityOf(r) != reading.Missing {
		t.Error(r)
	}
}

// The newest value of each topic under 5,000 messages a second and more: how
// old it is when it is delivered.
func BenchmarkBurst(b *testing.B) {
	broker, err := devices.StartMQTTBroker("127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer broker.Stop()
	const topics = 200
	set := Settings{Name: "b", URL: "tcp://" + broker.Address()}
	for i := range topics {
		set.Points = append(set.Points, Point{Index: i, Path: "p", Topic: fmt.Sprint("burst/", i), Pointer: "/value", TimePointer: "/time", Mapping: register.Mapping{Unit: degC(b)}})
	}
	s, err := New(set, Options{})
	if err != nil {
		b.Fatal(err)
	}
	meter := &ageMeter{}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx, meter) }()
	for !s.Status().Up {
		<-time.After(time.Millisecond)
	}
	begun := time.Now()
	for i := 0; b.Loop(); i++ {
		due := begun.Add(time.Duration(i) * 200 * time.Microsecond) // 5,000 a second
		for time.Now().Before(due) {
			<-time.After(100 * time.Microsecond)
		}
		at := time.Now()
		broker.Publish(fmt.Sprint("burst/", i%topics), fmt.Appendf(nil, `{"time":%q,"value":%.6f}`, at.UTC().Format(time.RFC3339Nano), at.Sub(begun).Seconds()), false)
		meter.begun.Store(begun.UnixNano())
	}
	b.ReportMetric(float64(meter.oldest.Load())/1e3, "ms-oldest")
	b.ReportMetric(float64(meter.n.Load()), "delivered")
	cancel()
	<-done
}

type ageMeter struct{ begun, oldest, n atomic.Int64 }

func (a *ageMeter) Put(r reading.Reading) {
	if r.Quality != reading.Good {
		return
	}
	age := (time.Now().UnixNano()-a.begun.Load())/1000 - int64(r.Value*1e6)
	if a.begun.Load() != 0 && age > a.oldest.Load() {
		a.oldest.Store(age)
	}
	a.n.Add(1)
}

// quietSource is a source without a broker, for what needs no connection.
func quietSource(t *testing.T, log io.Writer) (*Source, *readings) {
	t.Helper()
	s, err := New(settings(t, "127.0.0.1:1"), Options{Log: slog.New(slog.NewTextHandler(log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	return s, &readings{}
}
