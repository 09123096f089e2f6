package cleanup

import (
	"errors"
	"net"
	"slices"
	"testing"
)

func TestCloseRunsInReverseOrderAndJoinsErrors(t *testing.T) {
	var s Stack
	var ran []string
	busy, full := errors.New("busy"), errors.New("full")
	for _, c := range []struct {
		name string
		err  error
	}{{"close a", nil}, {"close b", busy}, {"close c", full}} {
		s.Push(c.name, func() error { ran = append(ran, c.name); return c.err })
	}
	err := s.Close()
	if want := []string{"close c", "close b", "close a"}; !slices.Equal(ran, want) {
		t.Errorf("ran %v, want %v", ran, want)
	}
	if !errors.Is(err, busy) || !errors.Is(err, full) || err.Error() != "close c: full\nclose b: busy" {
		t.Errorf("error %q", err)
	}
	if err := s.Close(); err != nil || len(ran) != 3 {
		t.Errorf("the second Close ran %v: %v", ran[3:], err)
	}
}

func TestCloseIntoKeepsTheFirstError(t *testing.T) {
	first, second := errors.New("first"), errors.New("second")
	fails := func() (err error) {
		var s Stack
		defer s.CloseInto(&err)
		s.Push("close it", func() error { return second })
		return first
	}
	if err := fails(); !errors.Is(err, first) || !errors.Is(err, second) {
		t.Errorf("error %q", err)
	}
}

func TestPushListenerClosesOnceAndToleratesAnEarlierClose(t *testing.T) {
	for _, before := range []bool{false, true} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		var s Stack
		s.PushListener("close the listener", l)
		if before {
			l.Close()
		}
		if err := s.Close(); err != nil {
			t.Errorf("closed before: %t: %v", before, err)
		}
		if err := l.Close(); !errors.Is(err, net.ErrClosed) {
			t.Errorf("closed before: %t: the listener was left open", before)
		}
	}
}
