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

// Names of the ledger's files inside the data directory.
const (
	LedgerFile      = "exposure.ledger"
	LedgerOlderFile = "exposure.ledger.1"
)

// ledgerPeriod is how often totals that grow are written; a crash loses no
// more running time than this, and no event, since a change writes at once.
const ledgerPeriod = time.Minute

// Ledger keeps the exposure of each compressor on disk, so that its counters
// survive a restart: one framed line, replaced as a whole, and the one before it.
// It is not safe for concurrent use.
type Ledger struct {
	dir     string
	written time.Time // row time of the last write
	errors  uint64
	fault   string
	unsound bool // the newest file is damaged: the older one must not be replaced by it
}

type ledgerText struct {
	At     time.Time `json:"at"`
	Totals []Totals  `json:"totals"`
}

// OpenLedger reads the totals that an earlier run left in dir. What it cannot
// read it reports in the error, and goes on with the file before or with none.
func OpenLedger(dir string) (*Ledger, []Totals, error) {
	l := &Ledger{dir: dir}
	var faults error
	for _, name := range []string{LedgerFile, LedgerOlderFile} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		var text ledgerText
		sound := false
		if err == nil {
			readFrames(data, func(frame []byte) { sound = json.Unmarshal(frame, &text) == nil })
		}
		if sound {
			return l, text.Totals, faults
		}
		if err == nil {
			err = fmt.Errorf("%s is damaged", name)
		}
		l.unsound = true
		faults = errors.Join(faults, fmt.Errorf("exposure ledger: %w", err))
	}
	return l, nil, faults
}

// Keep writes the totals when a minute has passed by the rows' time, when time
// went back, or when now says that it must not wait.
func (l *Ledger) Keep(at time.Time, totals func() []Totals, now bool) error {
	age := at.Sub(l.written)
	if !now && l.fault == "" && age >= 0 && age < ledgerPeriod {
		return nil
	}
	if err := l.write(at, totals()); err != nil {
		l.errors++
		err = fmt.Errorf("exposure ledger %s: %w", filepath.Join(l.dir, LedgerFile), err)
		l.fault = err.Error()
		return err
	}
	l.fault = ""
	l.written = at
	return nil
}

func (l *Ledger) write(at time.Time, totals []Totals) error {
	text, err := json.Marshal(ledgerText{At: at.UTC(), Totals: totals})
	if err != nil {
		return err
	}
	current, older := filepath.Join(l.dir, LedgerFile), filepath.Join(l.dir, LedgerOlderFile)
	if l.unsound {
		if err := renameio.WriteFile(current, appendFrame(nil, text), 0o640); err != nil {
			return err
		}
		l.unsound = false
		return nil
	}
	// A hard link keeps the last one under its name until the new one is whole.
	if err := os.Remove(older); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Link(current, older); err != nil && !errors.Is(err, os.ErrNotExist) && !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	return renameio.WriteFile(current, appendFrame(nil, text), 0o640)
}

// Status returns why the last write failed (empty when it did not) and how
// many did since start.
func (l *Ledger) Status() (fault string, failures uint64) { return l.fault, l.errors }
