// Package rehearsal puts a simulated plant behind real sockets: each suction
// group answers either as a Modbus TCP device or through an MQTT broker, and
// the matching configuration file lets the ordinary daemon read it.
//
// It may import the simulators and the standard library. The daemon's packages
// stay outside: the plant is reached over the wire only.
package rehearsal

import (
	"context"
	"fmt"
	"math"
	"net"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/simulators/fronts"
	"dewgap/simulators/plant"
)

// Clock is the time that the plant lives in.
type Clock interface {
	Now() time.Time
	Until(ctx context.Context, t time.Time) error
}

// publishPeriod is how often each value is published, in plant time.
const publishPeriod = 2 * time.Second

// Store is a plant behind its fronts.
type Store struct {
	mu      sync.Mutex
	plant   *plant.Plant
	inputs  []plant.InputInfo
	address []spot // by input
	at      map[cell]int

	Modbus *fronts.ModbusFront // for tests: faults can be switched on
	Broker *fronts.MQTTBroker
	bus    net.Listener
	stop   context.CancelFunc // of the Modbus server
	served chan error
}

// spot is where an input is found: a Modbus address, or an MQTT topic.
type spot struct {
	topic string // empty for Modbus
	cell  cell
}

type cell struct {
	unit, table uint8
	address     uint16
}

// Modbus tables used, by function code.
const (
	discreteInputs = 2
	inputRegisters = 4
)

// noValue is what a register holds while its sensor gives nothing.
const noValue = 0x7FFF

// Open puts p behind a Modbus TCP server at bus and an MQTT broker at broker;
// port 0 takes a free one. The first group, and every second one after it,
// answers over Modbus, the others over MQTT.
func Open(p *plant.Plant, bus, broker string) (*Store, error) {
	s := &Store{plant: p, inputs: p.Inputs(), at: map[cell]int{}}
	s.lay(p.Description())
	s.Modbus = &fronts.ModbusFront{Registers: s}
	var err error
	if s.Broker, err = fronts.StartMQTTBroker(broker); err != nil {
		return nil, fmt.Errorf("start the broker: %w", err)
	}
	if s.bus, err = net.Listen("tcp", bus); err != nil {
		_ = s.Broker.Stop() // the first error is the one to tell
		return nil, fmt.Errorf("start the Modbus server: %w", err)
	}
	return s, nil
}

// ModbusAddress returns host:port of the Modbus server.
func (s *Store) ModbusAddress() string { return s.bus.Addr().String() }

// lay gives each input its place on the wire: unit n+1 is the n-th Modbus
// group, with one input register or discrete input after another.
func (s *Store) lay(d plant.Description) {
	over := map[string]int{} // group → index
	for i, g := range d.Groups {
		over[g.Name] = i
	}
	next := map[cell]uint16{}
	for i, in := range s.inputs {
		group, _, _ := strings.Cut(in.Path, ".")
		n := over[group]
		if n%2 == 1 {
			s.address = append(s.address, spot{topic: d.Name + "/" + strings.ReplaceAll(in.Path, ".", "/")})
			continue
		}
		c := cell{unit: uint8(n/2 + 1), table: inputRegisters}
		if in.Kind == plant.Switch {
			c.table = discreteInputs
		}
		base := c
		c.address = next[base]
		next[base]++
		s.address = append(s.address, spot{cell: c})
		s.at[c] = i
	}
}

// Read answers for the Modbus server.
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

// encode returns what the register holds: bar absolute × 1000, °C × 10, 0 or 1.
func encode(kind plant.Kind, v float64, good bool) uint16 {
	if kind == plant.Switch {
		if good && v != 0 {
			return 1
		}
		return 0
	}
	if !good {
		return noValue
	}
	scaled := v * 10
	if kind == plant.Pressure {
		scaled = v / 100
	}
	return uint16(int16(math.Round(min(max(scaled, -32767), 32766))))
}

// MQTTValues lists what the broker's publisher sends.
func (s *Store) MQTTValues(time.Time) []fronts.MQTTValue {
	s.mu.Lock()
	defer s.mu.Unlock()
	var values []fronts.MQTTValue
	for i, a := range s.address {
		if a.topic == "" {
			continue
		}
		if v, good := s.plant.Value(i); good {
			if s.inputs[i].Kind == plant.Pressure {
				v = math.Round(v/10) / 1e4 // bar
			}
			values = append(values, fronts.MQTTValue{Topic: a.topic, Value: v})
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

// Run lets the plant live on clock and its fronts answer until ctx ends.
func (s *Store) Run(ctx context.Context, clock Clock) error {
	group, ctx := errgroup.WithContext(ctx)
	s.serve(s.bus)
	group.Go(func() error {
		<-ctx.Done()
		return s.StopBus()
	})
	group.Go(func() error { return fronts.PublishPlant(ctx, s.Broker, s, clock, publishPeriod) })
	group.Go(func() error { return s.live(ctx, clock) })
	err := group.Wait()
	if stop := s.Broker.Stop(); err == nil {
		err = stop
	}
	return err
}

func (s *Store) serve(l net.Listener) {
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Modbus.Serve(ctx, l) }()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.bus, s.stop, s.served = l, stop, served
}

// StopBus takes the Modbus server down, with its connections.
func (s *Store) StopBus() error {
	s.mu.Lock()
	stop, served := s.stop, s.served
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

// live steps the plant a second at a time.
func (s *Store) live(ctx context.Context, clock Clock) error {
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
