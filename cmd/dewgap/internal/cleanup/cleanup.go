// Package cleanup holds a stack of named clean-ups: what a set-up has opened,
// and how each part is closed.
//
// It may import the standard library alone.
package cleanup

import (
	"errors"
	"fmt"
	"net"
	"slices"
)

// Stack closes parts in the reverse order of their opening. A set-up pushes one
// clean-up after each part that it opened; when a later part fails, Close rolls
// back what succeeded. The zero value is ready. It is not safe for concurrent
// use.
type Stack struct{ steps []step }

type step struct {
	name  string
	close func() error
}

// Push adds a clean-up. Its name stands before its error, as in "close the
// journal".
func (s *Stack) Push(name string, clean func() error) {
	s.steps = append(s.steps, step{name, clean})
}

// PushListener adds the closing of l. It is no error when a server has closed
// l before.
func (s *Stack) PushListener(name string, l net.Listener) {
	s.Push(name, func() error {
		if err := l.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
			return err
		}
		return nil
	})
}

// Close runs all clean-ups, the newest first, and returns their errors joined.
// A clean-up that fails does not keep the others from running. A second Close
// does nothing.
func (s *Stack) Close() error {
	steps := s.steps
	s.steps = nil
	var failed error
	for _, step := range slices.Backward(steps) {
		if err := step.close(); err != nil {
			failed = errors.Join(failed, fmt.Errorf("%s: %w", step.name, err))
		}
	}
	return failed
}

// CloseInto runs Close and joins its error to *err. It is for defer in a
// function whose error result is named.
func (s *Stack) CloseInto(err *error) { *err = errors.Join(*err, s.Close()) }
