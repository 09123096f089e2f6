// Package fleet runs many sites at once, each a whole daemon over a simulated plant,
// against what a team runs centrally: metrics stores and a broker cluster. It
// consists of tests alone, so that none of it is in the program.
package fleet

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/alert"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/daemon"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/collector"
	"dewgap/config"
	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

// store returns a site with two racks, five compressors and three circuits, and the
// sensors that most racks have. Where wet is set, the valve of the low-temperature
// circuit is stuck open.
func store(wet bool) (plant.Description, error) {
	d, err := scenarios.Load("demo")
	if err != nil {
		return d, err
	}
	d.Name = "store"
	for i := range d.Groups {
		g := &d.Groups[i]
		g.Circuits = slices.DeleteFunc(slices.Clone(g.Circuits), func(c plant.Circuit) bool { return c.Name != "dairy-1" && c.Name != "dairy-2" && c.Name != "island-2" })
	}
	d.Omit = []string{"*.*.discharge_temperature", "*.*.sump_temperature"}
	if !wet {
		d.Faults = nil
	}
	return d, nil
}

// sharedPlant is a plant that several sites read: sites are many, and warming a plant
// up takes a third of a second.
type sharedPlant struct {
	mu    sync.Mutex
	plant *plant.Plant
	steps int64 // seconds since the plant began
}

// read steps the plant until it is at a second after its beginning, and calls put
// with what each input shows.
func (p *sharedPlant) read(second int64, put func(input int, value float64, ok bool, reason string)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if n := second - p.steps; n > 0 {
		p.plant.Step(time.Duration(n) * time.Second)
		p.steps = second
	}
	for i := range p.plant.Inputs() {
		v, ok := p.plant.Value(i)
		put(i, v, ok, p.plant.Reason(i))
	}
}

// source delivers what a plant shows, as a bus would.
type source struct {
	plant  *sharedPlant
	clock  collector.Clock
	begun  time.Time // the clock when the plant began
	period time.Duration
	points []int // of the site, by input

	mu   sync.Mutex
	last time.Time
}

func (s *source) Name() string { return "rack" }

func (s *source) Run(ctx context.Context, out collector.Sink) error {
	ticker := collector.NewTicker(s.clock, s.period)
	for {
		tick, err := ticker.Next(ctx)
		if errors.Is(err, collector.ErrSetBack) {
			ticker = collector.NewTicker(s.clock, s.period)
			continue
		}
		if err != nil {
			return nil
		}
		s.plant.read(int64(tick.Time.Sub(s.begun)/time.Second), func(input int, value float64, ok bool, reason string) {
			r := reading.Reading{Point: s.points[input], Time: tick.Time, Value: value, Quality: reading.Good}
			switch {
			case !ok && reason == "":
				return
			case !ok:
				r.Quality, r.Reason = reading.Bad, reason
			}
			out.Put(r)
		})
		s.mu.Lock()
		s.last = tick.Time
		s.mu.Unlock()
	}
}

func (s *source) Status() collector.Status {
	s.mu.Lock()
	defer s.mu.Unlock()
	return collector.Status{Name: "rack", Kind: "simulated", Address: "loopback", Up: !s.last.IsZero(), Delivered: !s.last.IsZero(), LastSeen: s.last}
}

// setting is how a fleet runs.
type setting struct {
	sites, plants int
	wet           int           // every so many plants floods
	sample        time.Duration // between two rows of a site
	clock         collector.Clock
	dir           string
	extra         func(name string) string // further text of a site's configuration
}

// site is one of a fleet.
type site struct {
	name, page, data string
	daemon           *daemon.Daemon
}

// open prepares the sites of a fleet; none of them runs yet.
func open(t testing.TB, set setting) []*site {
	t.Helper()
	plants := make([]*sharedPlant, set.plants)
	var group errgroup.Group
	group.SetLimit(runtime.NumCPU())
	for i := range plants {
		group.Go(func() error {
			d, err := store(i%set.wet == 0)
			if err != nil {
				return err
			}
			p, err := plant.New(d, uint64(i+1))
			plants[i] = &sharedPlant{plant: p}
			return err
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	begun := set.clock.Now()
	var sites []*site
	for i := range set.sites {
		p := plants[i%len(plants)]
		s := &site{name: fmt.Sprintf("store-%04d", i+1)}
		s.data = filepath.Join(set.dir, s.name)
		d := p.plant.Description()
		d.Site = s.name
		text := scenarios.SiteConfig(d) + fmt.Sprintf("\n[daemon]\nlisten = \"127.0.0.1:0\"\ndata = %q\nsample = \"%g s\"\nrecord_every = \"5 s\"\n", s.data, set.sample.Seconds()) + set.extra(s.name)
		cfg, err := config.Parse(s.name+".toml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		var paths []string
		for _, in := range p.plant.Inputs() {
			paths = append(paths, in.Path)
		}
		if cfg.Site, err = cfg.ForRecording(paths); err != nil {
			t.Fatal(err)
		}
		from := &source{plant: p, clock: set.clock, begun: begun, period: set.sample, points: make([]int, len(paths))}
		for k, path := range paths {
			from.points[k] = slices.IndexFunc(cfg.Site.Points, func(q reading.Point) bool { return q.Path == path })
		}
		listen, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		s.page = "http://" + listen.Addr().String() + "/"
		if s.daemon, err = daemon.Open(daemon.Setting{
			Config: cfg, Clock: set.clock, Listen: listen, Log: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError})),
			Version: metrics.Build{Version: "fleet", GoVersion: runtime.Version()}, Mode: "demo",
			Sources: func(*config.Config) ([]collector.Source, error) { return []collector.Source{from}, nil },
		}); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := s.daemon.Close(); err != nil {
				t.Error(err)
			}
		})
		sites = append(sites, s)
	}
	return sites
}

// run runs all sites until the returned function is called.
func run(t testing.TB, sites []*site) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	var group errgroup.Group
	for _, s := range sites {
		group.Go(func() error { return s.daemon.Run(ctx) })
	}
	once := sync.OnceFunc(func() {
		cancel()
		if err := group.Wait(); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(once)
	return once
}

// journalled returns the events of a site's journal on the disk that a broker is
// told of.
func (s *site) journalled(t testing.TB) (events []alert.Event) {
	t.Helper()
	all, _, err := alert.ReadEvents(s.data)
	if err != nil {
		t.Fatal(err)
	}
	for _, ev := range all {
		if ev.Level() >= 1 {
			events = append(events, ev)
		}
	}
	return events
}

// prefixOf is the prefix of a site's topics.
func prefixOf(name string) string { return "fleet/" + name }

// siteOf is the site of a topic, and what follows.
func siteOf(topic string) (name, rest string) {
	name, rest, _ = strings.Cut(strings.TrimPrefix(topic, "fleet/"), "/")
	return name, rest
}
