package alert

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// ReadEvents returns the events that the journal in dir holds, in order of
// opening, and what was found damaged. It changes nothing and takes no lock: a
// daemon may be writing meanwhile. It fails when there is no journal.
func ReadEvents(dir string) ([]Event, Recovery, error) {
	if _, err := os.Stat(filepath.Join(dir, JournalFile)); err != nil {
		if errors.Is(err, os.ErrNotExist) {
			return nil, Recovery{}, fmt.Errorf("no journal in %s: %s is not there", dir, JournalFile)
		}
		return nil, Recovery{}, err
	}
	j := newJournal(disk{}, dir, 0)
	if err := j.load(); err != nil {
		return nil, Recovery{}, fmt.Errorf("read journal: %w", err)
	}
	return j.history.Events(), j.status.Recovered, nil
}
