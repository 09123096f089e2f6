package alert

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"time"
)

// stateFile is a value that outlives a restart: one framed line in a file, replaced
// as a whole, and the one before it beside it. It is not safe for concurrent
// use.
type stateFile struct {
	files   fileSystem
	what    string // for people: "exposure ledger"
	path    string
	period  time.Duration // how often it is written
	written time.Time     // row time of the last write
	errors  uint64
	fault   string
	unsound bool // the newest file is damaged: the older one must not be replaced by it
	unread  bool // the newest file could not be read: it must not be replaced at all
	aside   []string
}

// olderSuffix marks the file before.
const olderSuffix = ".1"

// read fills into, a pointer, from the newest sound file; it is left alone when
// there is none. What could not be read is in the error.
func (f *stateFile) read(into any) error {
	f.aside = asideOf(f.files, f.path)
	var faults error
	first, err := readSound(f.files, f.path)
	if first == nil && err == nil {
		// A crash between two renames leaves the newest one under this name.
		if data, err := readSound(f.files, f.path+newSuffix); err == nil && decodeState(data, into) {
			return nil
		}
	}
	older := f.path + olderSuffix
	for _, path := range []string{f.path, older} {
		data := first
		if path == older {
			data, err = readSound(f.files, path)
		}
		switch {
		case data == nil && err == nil:
			continue
		case decodeState(data, into):
			return errors.Join(faults, err)
		case err != nil:
			err = fmt.Errorf("%s: read %s: %w", f.what, filepath.Base(path), err)
			f.unread = f.unread || path == f.path
		default:
			err = fmt.Errorf("%s: %s is damaged", f.what, filepath.Base(path))
		}
		f.unsound = true
		faults = errors.Join(faults, err)
	}
	return faults
}

// decodeState reads the framed line that a state file is.
func decodeState(data []byte, into any) (sound bool) {
	readFrames(data, func(frame []byte) { sound = json.Unmarshal(frame, into) == nil })
	return sound
}

// save writes value() when the period has passed by the rows' time, when time
// went back, when the last write failed, or when now is set. It reports whether
// value() is on the disk now.
func (f *stateFile) save(at time.Time, value func() any, now bool) (bool, error) {
	age := at.Sub(f.written)
	if !now && f.fault == "" && age >= 0 && age < f.period {
		return false, nil
	}
	if err := f.write(value()); err != nil {
		f.errors++
		err = fmt.Errorf("%s %s: %w", f.what, f.path, err)
		f.fault = err.Error()
		return false, err
	}
	f.fault, f.written = "", at
	return true, nil
}

func (f *stateFile) write(value any) error {
	text, err := json.Marshal(value)
	if err != nil {
		return err
	}
	before := f.keepOlder
	switch {
	case f.unread:
		before = f.setAside
	case f.unsound:
		before = nil
	}
	if err := replace(f.files, f.path, appendFrame(nil, text), before); err != nil {
		return err
	}
	f.unsound, f.unread = false, false
	return nil
}

// keepOlder gives the present file the name of the older one. A hard link keeps
// it under its own name too until the new one is whole. Some file systems have
// none (vfat, some network mounts): a crash right after the rename leaves the new
// file under the name that read looks for then.
func (f *stateFile) keepOlder() error {
	older := f.path + olderSuffix
	if err := f.files.Remove(older); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if f.files.Link(f.path, older) == nil {
		return nil
	}
	if err := f.files.Rename(f.path, older); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

func (f *stateFile) setAside() error {
	name, err := setAside(f.files, f.path)
	if err == nil && name != "" && !slices.Contains(f.aside, name) {
		f.aside = append(f.aside, name)
	}
	return err
}

// setAsideNow returns the names of the files that could not be read and wait for
// a person to look at them and to move them away.
func (f *stateFile) setAsideNow() []string {
	if len(f.aside) > 0 {
		f.aside = asideOf(f.files, f.path)
	}
	return slices.Clone(f.aside)
}
