package modbus

import (
	"math"
	"strings"
	"testing"
	"time"
)

func TestLoadOfALine(t *testing.T) {
	// One input register at 9600 baud 8E1: 8 characters out, 7 back, 11 bits
	// each, are 17.2 ms; two silences of 3.5 characters 8.0 ms (serial-line
	// specification); 20 ms for the device: 45 ms each second.
	s := Settings{Transport: RTU, Serial: testSerial, Period: time.Second, Gap: 8, Points: numbered(hundredths(1, Input, 0))}
	if got := s.Load(); math.Abs(got-0.0452) > 0.001 {
		t.Errorf("%.4f of the line, want 0.0452", got)
	}
	s.Points = numbered(hundredths(1, Input, 0), hundredths(1, Input, 1))
	if got := s.Load(); math.Abs(got-0.0452-0.0023) > 0.001 {
		t.Errorf("two joined registers: %.4f", got)
	}
	s.Points = numbered(hundredths(1, Input, 0), hundredths(1, Input, 4)) // the gap is read too
	if got := s.Load(); math.Abs(got-0.0452-4*0.0023) > 0.001 {
		t.Errorf("two with a gap of three: %.4f", got)
	}
}

func TestGroupingInWords(t *testing.T) {
	s := Settings{Period: 5 * time.Second, Gap: 8, Points: numbered(hundredths(1, Input, 0), hundredths(1, Input, 3), hundredths(1, Input, 3), hundredths(1, Input, 40))}
	want := "unit 1 input registers 0–3 every 5s: 3 points in one read, 2 of 4 not needed\nunit 1 input register 40 every 5s: 1 point"
	if got := strings.Join(s.Grouping(), "\n"); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
