package store

import (
	"net"
	"testing"

	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

func TestOpenClosesTheBrokerWhenTheModbusServerCannotListen(t *testing.T) {
	d, err := scenarios.Load("freezer-room")
	if err != nil {
		t.Fatal(err)
	}
	d.WarmUpH = 0.1
	p, err := plant.New(d, 1)
	if err != nil {
		t.Fatal(err)
	}
	busy, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer busy.Close()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	broker := free.Addr().String()
	free.Close()
	if s, err := Open(p, Setting{Bus: busy.Addr().String(), Broker: broker}); err == nil {
		t.Fatal("opened at a busy address", s.Close())
	}
	again, err := net.Listen("tcp", broker)
	if err != nil {
		t.Fatalf("the broker still listens: %v", err)
	}
	again.Close()

	s, err := Open(p, Setting{Bus: "127.0.0.1:0", Broker: broker, Serial: true})
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}
