package mqtt

import (
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"net"
	"net/url"
	"sync"
	"sync/atomic"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector"
	"dewgap/collector/register"
)

// Options of a source that do not come from the configuration.
type Options struct {
	Clock collector.Clock // of stamps and silence; default the machine's
	Log   *slog.Logger    // one line for each change of state; may be nil
	// Purpose sets a reader beside the daemon apart from it: the client id gets it
	// and some chance appended. The daemon has none and takes the configured id as
	// it is, for brokers may know it by that.
	Purpose string
}

// Source subscribes at one broker. It implements collector.Source.
type Source struct {
	set    Settings
	url    *url.URL
	tls    *tls.Config
	clock  collector.Clock
	log    *slog.Logger
	topics map[string]*topic
	box    inbox
	asked  atomic.Int32 // topics in the SUBSCRIBE that awaits its answer
	clash  clashDetector

	oversize        oversizeTopics
	attempts        attempts // to end a silence of all topics
	subscribedAgain bool     // in this silence

	backoff func(attempt int) time.Duration
	dial    func(context.Context, *url.URL, *tls.Config) (net.Conn, error)

	mu     sync.Mutex
	status collector.Status
}

// topic is one subscription with all points that its messages carry.
type topic struct {
	name   string
	points []*point
	json   bool // some point needs the payload as JSON

	refused   string // why there is no subscription; empty when there is one
	leftOut   bool   // refused by us, for the size of its messages
	oversized bool   // its last message was too large

	cadence  cadence
	attempts attempts  // to end a silence of this topic
	silentAt time.Time // of the last failure delivered for silence; zero while there is none

	clockNote  string    // what the publisher's clock did lately
	clockNoted time.Time // when clockNote was set
}

// fail delivers a failure to all points of the topic.
func (t *topic) fail(out collector.Sink, reason string) {
	for _, p := range t.points {
		p.failing, p.persist = register.Fault{}, register.Persistence{}
		out.Put(reading.Fail(p.Index, reason))
	}
}

type point struct {
	Point
	last    time.Time // stamp of the newest reading delivered
	persist register.Persistence
	failing register.Fault // a loop's failure that does not count yet; none when zero
}

var _ collector.Source = (*Source)(nil)

// New returns the source of settings. It reads the certificates; it does not
// connect.
func New(s Settings, o Options) (*Source, error) {
	defaults(&s)
	u, err := checkURL(s.URL)
	if err != nil {
		return nil, fmt.Errorf("broker %s: %w", s.Name, err)
	}
	config, err := tlsConfig(&s, u.Scheme)
	if err != nil {
		return nil, fmt.Errorf("broker %s: %w", s.Name, err)
	}
	if o.Clock == nil {
		o.Clock = collector.NewRealClock()
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Purpose != "" {
		s.ClientID = fmt.Sprintf("%s-%s-%08x", s.ClientID, o.Purpose, rand.Uint32())
	}
	src := &Source{
		set: s, url: u, tls: config, clock: o.Clock, log: o.Log.With("source", s.Name),
		topics: map[string]*topic{}, backoff: backoff, dial: dial,
		status: collector.Status{Name: s.Name, Kind: "mqtt", Address: u.String(), Since: o.Clock.Now(),
			Reason: "not connected yet", Errors: map[string]uint64{}},
	}
	for _, p := range s.Points {
		if err := CheckPointer(p.Pointer); err != nil {
			return nil, fmt.Errorf("broker %s, %s: %w", s.Name, p.Path, err)
		}
		t := src.topics[p.Topic]
		if t == nil {
			t = &topic{name: p.Topic}
			src.topics[p.Topic] = t
		}
		t.points = append(t.points, &point{Point: p})
		t.json = t.json || p.Pointer != "" || p.TimePointer != ""
	}
	src.oversize.topics = make(map[string]*oversizeTopic, len(src.topics))
	for name := range src.topics {
		src.oversize.topics[name] = &oversizeTopic{}
	}
	src.box.init(src.topics, s.MaxPayload)
	return src, nil
}

func defaults(s *Settings) {
	if s.MaxSkew <= 0 {
		s.MaxSkew = time.Minute
	}
	if s.MaxPayload <= 0 {
		s.MaxPayload = 64 << 10
	}
	if s.Silence <= 0 {
		s.Silence = time.Minute
	}
	if s.ClientID == "" {
		s.ClientID = "dewgap-" + s.Name
	}
}

// Name of the broker in the configuration.
func (s *Source) Name() string { return s.set.Name }

// Status returns the state of the connection to the broker.
func (s *Source) Status() collector.Status {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := s.status
	st.Errors = maps.Clone(st.Errors)
	return st
}

// Run reads until ctx ends. Each connection is a new client with a clean
// session, so that no state of the one before can be wrong.
func (s *Source) Run(ctx context.Context, out collector.Sink) error {
	attempt := 0
	for ctx.Err() == nil {
		begun := time.Now()
		end := s.session(ctx, out)
		s.mu.Lock()
		s.status.Reconnects++ // the next one
		s.mu.Unlock()
		if ctx.Err() != nil {
			break
		}
		end.lasted = time.Since(begun)
		if name := s.oversize.ended(time.Now()); name != "" {
			s.log.Warn("topic left out: its message ended the connection again", "topic", name, "for", leftOutFor)
		}
		if end.subscribed && end.lasted > stableAfter {
			attempt = 0
		}
		attempt++
		reason := end.reason
		if s.clash.ended(end) {
			reason = s.clashReason()
			s.count(clashed)
		}
		s.markDown(reason)
		s.deliverFailures(out, reason)
		sleep(ctx, s.backoff(attempt))
	}
	s.markDown("stopped")
	return nil
}

// connectionEnd describes a connection after its end.
type connectionEnd struct {
	reason         string
	subscribed     bool
	closedByBroker bool // the broker accepted the connection and closed it later
	lasted         time.Duration
}

const (
	stableAfter  = time.Minute // a connection that lasted so long was a good one
	firstBackoff = time.Second
	maxBackoff   = time.Minute
)

// backoff doubles from one second to a minute, and is drawn between half and
// the whole of that, so that many gateways do not come back at once.
func backoff(attempt int) time.Duration {
	d := maxBackoff
	if attempt < 7 {
		d = min(firstBackoff<<(attempt-1), maxBackoff)
	}
	return d/2 + rand.N(d/2)
}

func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// clashDetector detects two clients with one client id: the broker accepts the
// connection and closes it soon after, again and again, before the subscription
// or after it. A broker that restarts also refuses some attempts in between.
type clashDetector struct{ count int }

const (
	// clashAfter is how many quick closings in a row mean a clash.
	clashAfter = 3
	// clashOverAfter is how long a connection lasts that no other client ends. It
	// is longer than most clients wait before they try again.
	clashOverAfter = 3 * time.Minute
	// clashed is the code of a clash in the counters.
	clashed = "clash"
)

// ended counts the end of a connection and reports whether there is a clash.
func (f *clashDetector) ended(end connectionEnd) bool {
	switch code := reading.CodeOf(end.reason); {
	case end.lasted > clashOverAfter, code == reading.Refused, code == reading.Unreachable:
		f.count = 0
	case end.closedByBroker:
		f.count++
	}
	return f.detected()
}

func (f *clashDetector) detected() bool { return f.count >= clashAfter }

// clashReason describes a clash.
func (s *Source) clashReason() string {
	return fmt.Sprintf("%s: the broker closed the connection %d times in a row: another client probably uses the client id %q; give each client its own",
		reading.Disconnected, s.clash.count, s.set.ClientID)
}

// deliverFailures delivers a failure to all points.
func (s *Source) deliverFailures(out collector.Sink, reason string) {
	if reading.QualityOf(reason) != reading.Missing {
		reason = reading.Disconnected + ": " + reason
	}
	for _, t := range s.topics {
		t.fail(out, reason)
	}
}

// deliver decodes what arrived on a topic for all its points. It reports whether
// the state of the topic has changed.
func (s *Source) deliver(t *topic, m message, out collector.Sink) (changed bool) {
	doc := open(m, s.set.MaxPayload, t.json)
	now := s.clock.Now()
	if !m.retained {
		changed = t.arrived(m.arrived)
		s.attempts.arrived(m.arrived)
		s.subscribedAgain = false
	}
	if is := doc.fault.Code == tooLarge; is != t.oversized {
		t.oversized, changed = is, true
	}
	good := false
	var back time.Duration // how far the stamps went back
	for _, p := range t.points {
		d := doc.read(&p.Point, m.retained, now, s.set.MaxSkew)
		d.fault = p.judge(now, d.fault)
		if d.fault.Failed() {
			s.count(d.fault.Code)
			out.Put(reading.Fail(p.Index, d.fault.Reason()))
			continue
		}
		if !d.stamp.IsZero() {
			// A repeated retained message is not new. Of live ones the order of
			// arrival counts, which MQTT keeps for each publisher (MQTT 3.1.1, 4.6):
			// an older stamp is a clock that was put right.
			if m.retained && !d.stamp.After(p.last) {
				s.count("repeated")
				continue
			}
			back = max(back, p.last.Sub(d.stamp))
			p.last = d.stamp
		}
		good = true
		out.Put(reading.Reading{Point: p.Index, Time: now, Value: d.value, Quality: reading.Good})
	}
	changed = s.noteClock(t, m.arrived, back) || changed
	s.mu.Lock()
	s.status.Requests++
	s.status.LastSeen = now
	s.status.Delivered = s.status.Delivered || good
	s.mu.Unlock()
	return changed
}

// arrived takes a live message and reports whether the topic was silent.
func (t *topic) arrived(at time.Time) (wasSilent bool) {
	t.cadence.arrived(at)
	t.attempts.arrived(at)
	wasSilent = !t.silentAt.IsZero()
	t.silentAt = time.Time{}
	return wasSilent
}

const (
	// clockBack is the code of a publisher's clock that went back.
	clockBack = "clock-back"
	// clockNotedFor is how long a publisher's clock that went back stays in the
	// status. Meanwhile further steps are counted and not logged.
	clockNotedFor = 10 * time.Minute
)

// noteClock counts and describes stamps that went back, and forgets the note
// after a while. It reports whether the note has changed.
func (s *Source) noteClock(t *topic, now time.Time, back time.Duration) (changed bool) {
	recent := t.clockNote != "" && now.Sub(t.clockNoted) < clockNotedFor
	if back > 0 {
		s.count(clockBack)
		if !recent {
			t.clockNote = fmt.Sprintf("%s: its time stamps went back by %s; messages are taken in the order of arrival", clockBack, rounded(back))
			t.clockNoted = now
			return true
		}
	}
	if t.clockNote != "" && !recent {
		t.clockNote = ""
		return true
	}
	return false
}

// judge passes a fault on, or softens a loop's failure signal that is too
// young and remembers it.
func (p *point) judge(now time.Time, fault register.Fault) register.Fault {
	judged := p.persist.Judge(&p.Mapping, now, fault)
	p.failing = register.Fault{}
	if judged != fault {
		p.failing = fault
	}
	return judged
}

// deliverPersistent delivers failure signals that have lasted long enough: a
// publisher that sends only changes does not repeat them.
func (s *Source) deliverPersistent(out collector.Sink) {
	now := s.clock.Now()
	for _, t := range s.topics {
		for _, p := range t.points {
			if !p.failing.Failed() {
				continue
			}
			if fault := p.judge(now, p.failing); !p.failing.Failed() {
				s.count(fault.Code)
				out.Put(reading.Fail(p.Index, fault.Reason()))
			}
		}
	}
}

func (s *Source) count(code string) {
	s.mu.Lock()
	s.status.Errors[code]++
	s.mu.Unlock()
}

// markUp records that the broker delivers; words describe what is wrong all the
// same, or are empty.
func (s *Source) markUp(words string) {
	s.mu.Lock()
	changed := !s.status.Up
	if changed {
		s.status.Up, s.status.Since = true, s.clock.Now()
	}
	before := s.status.Reason
	s.status.Reason = words
	s.mu.Unlock()
	switch {
	case words != "":
		if changed || words != before {
			s.log.Warn("broker delivers, with a fault", "reason", words)
		}
	case changed || before != "":
		s.log.Info("broker delivers", "address", s.url.String())
	}
}

func (s *Source) markDown(reason string) {
	s.mu.Lock()
	changed := s.status.Up || s.status.Reason != reason
	if s.status.Up {
		s.status.Since = s.clock.Now()
	}
	s.status.Up, s.status.Reason = false, reason
	if reason != "stopped" {
		s.status.Errors[reading.CodeOf(reason)]++
	}
	s.mu.Unlock()
	if changed {
		s.log.Warn("broker does not deliver", "reason", reason)
	}
}
