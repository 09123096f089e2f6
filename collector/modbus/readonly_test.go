package modbus

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
)

// TestReadOnly: only function codes 1 to 4 pass, whoever calls.
func TestReadOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, Settings{Points: three()})
		l := newBus(&r.settings, func(context.Context) (conn, error) {
			t.Error("a write opens a connection")
			return nil, errors.New("no")
		})
		c := l.client
		for name, write := range map[string]func() ([]byte, error){
			"coil":          func() ([]byte, error) { return c.WriteSingleCoil(1, 0xFF00) },
			"coils":         func() ([]byte, error) { return c.WriteMultipleCoils(1, 1, []byte{1}) },
			"register":      func() ([]byte, error) { return c.WriteSingleRegister(1, 1) },
			"registers":     func() ([]byte, error) { return c.WriteMultipleRegisters(1, 1, []byte{0, 1}) },
			"mask":          func() ([]byte, error) { return c.MaskWriteRegister(1, 1, 1) },
			"read/write":    func() ([]byte, error) { return c.ReadWriteMultipleRegisters(1, 1, 1, 1, []byte{0, 1}) },
			"fifo (clears)": func() ([]byte, error) { return c.ReadFIFOQueue(1) },
		} {
			if _, err := write(); !errors.Is(err, errWrites) {
				t.Errorf("%s: %v", name, err)
			}
		}
		for _, transport := range []Transport{TCP, RTU} {
			l.transport = transport
			for function := range 256 {
				pdu := protocolDataUnit(byte(function))
				_, err := l.Encode(pdu)
				if want := function >= 1 && function <= 4; (err == nil) != want {
					t.Errorf("%s: function %d: %v", transport.kind(), function, err)
				}
				frame := []byte{0, 1, 0, 0, 0, 6, 1, byte(function), 0, 0, 0, 1}
				if transport != TCP {
					frame = []byte{1, byte(function), 0, 0, 0, 1, 0, 0}
				}
				if function < 1 || function > 4 {
					if _, err := l.Send(frame); !errors.Is(err, errWrites) {
						t.Errorf("%s: function %d is sent: %v", transport.kind(), function, err)
					}
				}
			}
		}
		if _, f := l.read(context.Background(), 1, Table(6), 0, 1); f == nil {
			t.Error("table 6 is read")
		}
	})
}
