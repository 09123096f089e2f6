package alert

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// stateFile is a value that outlives a restart: one framed line in a file, replaced
// as a whole, and the one before it beside it. It is not safe for concurrent
// use.
type stateFile struct {
	what    string // for people: "exposure ledger"
	path    string
	period  time.Duration // how often it is written
	written time.Time     // row time of the last write
	errors  uint64
	fault   string
	unsound bool // the newest file is damaged: the older one must not be replaced by it
}

// olderSuffix marks the file before.
const olderSuffix = ".1"

// read fills into, a pointer, from the newest sound file; it is left alone when
// there is none. What could not be read is in the error.
func (f *stateFile) read(into any) error {
	var faults error
	for _, path := range []string{f.path, f.path + olderSuffix} {
		data, err := os.ReadFile(path)
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		sound := false
		if err == nil {
			readFrames(data, func(frame []byte) { sound = json.Unmarshal(frame, into) == nil })
		}
		if sound {
			return faults
		}
		if err == nil {
			err = fmt.Errorf("%s is damaged", filepath.Base(path))
		}
		f.unsound = true
		faults = errors.Join(faults, fmt.Errorf("%s: %w", f.what, err))
	}
	return faults
}

// save writes value() when the period has passed by the rows' time, when time
// went back, when the last write failed, or when now is set.
func (f *stateFile) save(at time.Time, value func() any, now bool) error {
	age := at.Sub(f.written)
	if !now && f.fault == "" && age >= 0 && age < f.period {
		return nil
	}
	if err := f.write(value()); err != nil {
		f.errors++
		err = fmt.Errorf("%s %s: %w", f.what, f.path, err)
		f.fault = err.Error()
		return err
	}
	f.fault, f.written = "", at
	return nil
}

func (f *stateFile) write(value any) error {
	text, err := json.Marshal(value)
	if err != nil {
		return err
	}
	if f.unsound {
		if err := replace(disk{}, f.path, appendFrame(nil, text), nil); err != nil {
			return err
		}
		f.unsound = false
		return nil
	}
	// A hard link keeps the last one under its name until the new one is whole.
	older := f.path + olderSuffix
	if err := os.Remove(older); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Link(f.path, older); err != nil && !errors.Is(err, os.ErrNotExist) && !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	return replace(disk{}, f.path, appendFrame(nil, text), nil)
}
