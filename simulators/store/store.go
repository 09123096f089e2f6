// Package store puts a simulated plant behind real sockets and lines: it
// answers as a Modbus device over TCP and over a pseudo-terminal, publishes
// through an MQTT broker, and is controlled by a small HTTP API. The matching
// configuration file makes the ordinary daemon read it.
//
// It may import the simulators and the standard library. The daemon's packages
// stay outside: the plant is reached over the wire only.
package store

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/simulators/devices"
	"dewgap/simulators/plant"
)

// Clock is the clock of the plant.
type Clock interface {
	Now() time.Time
	Until(ctx context.Context, t time.Time) error
}

// publishPeriod is how often each value is published, in plant time.
const publishPeriod = 2 * time.Second

// Setting describes how a plant is reached.
type Setting struct {
	Bus, Broker string // where the Modbus TCP server and the broker listen; port 0 takes a free one
	Serial      bool   // a Modbus RTU line on a pseudo-terminal besides
	Via         Via    // how the configuration reads it
	PublishAll  bool   // every group, not only those that the configuration reads from the broker
	// Speed is how many times faster than the reader's clock the plant's runs.
	// At a speed other than 1 the messages carry the reader's time, and the
	// configuration waits and lags that much shorter. 0 is 1: reader and plant
	// share one clock.
	Speed float64
}

// Via is the way on which the configuration reads the plant.
type Via string

// Mixed reads the first group and every second one after it over Modbus TCP,
// the others through the broker.
const (
	Mixed  Via = "mixed"
	ByTCP  Via = "tcp"
	ByRTU  Via = "rtu"
	ByMQTT Via = "mqtt"
)

// Store is a plant behind its devices.
type Store struct {
	Setting
	mu    sync.Mutex
	plant *plant.Plant
	wiring

	Modbus  *devices.ModbusDevice // for tests: faults can be switched on
	Broker  *devices.MQTTBroker
	bus     net.Listener
	serial  *serialLine
	stop    context.CancelFunc // of the Modbus server
	busDone chan error
}

// serialLine is the two ends of a pseudo-terminal.
type serialLine struct {
	device, keep *os.File
	name         string
}

// Open puts p behind its devices. When one of them cannot listen, Open closes
// those that it opened before.
func Open(p *plant.Plant, set Setting) (_ *Store, err error) {
	if set.Speed == 0 {
		set.Speed = 1
	}
	if set.Via == "" {
		set.Via = Mixed
	}
	if set.Via == ByRTU && !set.Serial {
		return nil, errors.New("the configuration cannot read over a line that is not there")
	}
	s := &Store{Setting: set, plant: p, wiring: newWiring(p.Description(), p.Inputs())}
	s.Modbus = &devices.ModbusDevice{Registers: s}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
		}
	}()
	if s.Broker, err = devices.StartMQTTBroker(set.Broker); err != nil {
		return nil, fmt.Errorf("start the broker at %s: %w", set.Broker, err)
	}
	if s.bus, err = net.Listen("tcp", set.Bus); err != nil {
		return nil, fmt.Errorf("start the Modbus server at %s: %w", set.Bus, err)
	}
	if set.Serial {
		l := &serialLine{}
		if l.device, l.keep, l.name, err = devices.OpenLine(); err != nil {
			return nil, err
		}
		s.serial = l
	}
	return s, nil
}

// Close closes what Open opened. Run closes it too; a second Close does nothing.
func (s *Store) Close() error {
	var failed error
	if s.serial != nil {
		// A server that ran has closed its end of the line already.
		if err := s.serial.device.Close(); !errors.Is(err, os.ErrClosed) {
			failed = errors.Join(failed, err)
		}
		if err := s.serial.keep.Close(); !errors.Is(err, os.ErrClosed) {
			failed = errors.Join(failed, err)
		}
	}
	failed = errors.Join(failed, s.StopBus())
	s.mu.Lock()
	bus := s.bus
	s.mu.Unlock()
	if bus != nil {
		if err := bus.Close(); !errors.Is(err, net.ErrClosed) {
			failed = errors.Join(failed, err)
		}
	}
	if s.Broker != nil {
		failed = errors.Join(failed, s.Broker.Stop())
	}
	return failed
}

// ModbusAddress returns host:port of the Modbus TCP server.
func (s *Store) ModbusAddress() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.bus.Addr().String()
}

// LineName returns the path of the serial line's reading end; empty without one.
func (s *Store) LineName() string {
	if s.serial == nil {
		return ""
	}
	return s.serial.name
}

// Read answers for the Modbus servers.
func (s *Store) Read(unit, table uint8, address uint16) (word uint16, ok bool) {
	i, ok := s.at[cell{unit, table, address}]
	if !ok {
		return 0, false
	}
	s.mu.Lock()
	v, good := s.plant.Value(i)
	s.mu.Unlock()
	return encode(s.inputs[i].Kind, v, good), true
}

// MQTTValues lists what the broker's publisher sends.
func (s *Store) MQTTValues() []devices.MQTTValue {
	s.mu.Lock()
	defer s.mu.Unlock()
	var values []devices.MQTTValue
	for i, a := range s.address {
		if !s.PublishAll && !s.byMQTT(a.group) {
			continue
		}
		if v, good := s.plant.Value(i); good {
			values = append(values, devices.MQTTValue{Topic: a.topic, Value: shown(s.inputs[i].Kind, v)})
		}
	}
	return values
}

// Change does something to the plant between two of its steps: a fault, a
// forced defrost.
func (s *Store) Change(do func(*plant.Plant) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return do(s.plant)
}

// Run steps the plant by clock and serves its devices until ctx ends.
func (s *Store) Run(ctx context.Context, clock Clock) error {
	group, ctx := errgroup.WithContext(ctx)
	s.serve(s.bus)
	group.Go(func() error {
		<-ctx.Done()
		return s.StopBus()
	})
	if s.serial != nil {
		server := &devices.ModbusDevice{Registers: s, RTU: true}
		group.Go(func() error {
			server.ServeLine(ctx, s.serial.device)
			return nil
		})
	}
	publisher := devices.MQTTPublisher{Broker: s.Broker, Plant: s, Clock: clock, Period: publishPeriod}
	if s.Speed != 1 {
		publisher.Stamp = time.Now
	}
	group.Go(func() error { return publisher.Run(ctx) })
	group.Go(func() error { return s.stepPlant(ctx, clock) })
	return errors.Join(group.Wait(), s.Close())
}

func (s *Store) serve(l net.Listener) {
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Modbus.Serve(ctx, l) }()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.bus, s.stop, s.busDone = l, stop, served
}

// StopBus takes the Modbus TCP server down, with its connections.
func (s *Store) StopBus() error {
	s.mu.Lock()
	stop, served := s.stop, s.busDone
	s.stop = nil
	s.mu.Unlock()
	if stop == nil {
		return nil
	}
	stop()
	return <-served
}

// StartBus brings it back at the same address.
func (s *Store) StartBus() error {
	l, err := net.Listen("tcp", s.ModbusAddress())
	if err != nil {
		return err
	}
	s.serve(l)
	return nil
}

// stepPlant steps the plant a second at a time.
func (s *Store) stepPlant(ctx context.Context, clock Clock) error {
	s.mu.Lock()
	now := s.plant.Now()
	s.mu.Unlock()
	for {
		now = now.Add(time.Second)
		if clock.Until(ctx, now) != nil {
			return nil
		}
		s.mu.Lock()
		s.plant.Step(time.Second)
		s.mu.Unlock()
	}
}
