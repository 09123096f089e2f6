package alert

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/google/renameio/v2"
)

// kept is a value that outlives a restart: one framed line in a file, replaced
// as a whole, and the one before it beside it. It is not safe for concurrent
// use.
type kept struct {
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
func (k *kept) read(into any) error {
	var faults error
	for _, path := range []string{k.path, k.path + olderSuffix} {
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
		k.unsound = true
		faults = errors.Join(faults, fmt.Errorf("%s: %w", k.what, err))
	}
	return faults
}

// keep writes value() when the period has passed by the rows' time, when time
// went back, when the last write failed, or when now says that it must not wait.
func (k *kept) keep(at time.Time, value func() any, now bool) error {
	age := at.Sub(k.written)
	if !now && k.fault == "" && age >= 0 && age < k.period {
		return nil
	}
	if err := k.write(value()); err != nil {
		k.errors++
		err = fmt.Errorf("%s %s: %w", k.what, k.path, err)
		k.fault = err.Error()
		return err
	}
	k.fault, k.written = "", at
	return nil
}

func (k *kept) write(value any) error {
	text, err := json.Marshal(value)
	if err != nil {
		return err
	}
	if k.unsound {
		if err := renameio.WriteFile(k.path, appendFrame(nil, text), 0o640); err != nil {
			return err
		}
		k.unsound = false
		return nil
	}
	// A hard link keeps the last one under its name until the new one is whole.
	older := k.path + olderSuffix
	if err := os.Remove(older); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Link(k.path, older); err != nil && !errors.Is(err, os.ErrNotExist) && !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	return renameio.WriteFile(k.path, appendFrame(nil, text), 0o640)
}
