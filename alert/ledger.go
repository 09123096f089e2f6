package alert

import (
	"path/filepath"
	"time"
)

// LedgerFile is the ledger's name inside the data directory.
const LedgerFile = "exposure.ledger"

// A crash loses no more running time than ledgerPeriod, and no more of an open
// event than ledgerEventPeriod; a change writes at once. Common practice, no
// source.
const (
	ledgerPeriod      = time.Minute
	ledgerEventPeriod = 15 * time.Second
)

// Ledger keeps the exposure of each compressor on disk, so that its counters
// survive a restart. What is published comes from Written: a counter that was
// scraped is on the disk, and never comes back lower. It is not safe for
// concurrent use.
type Ledger struct {
	stateFile
	entry   uint64   // of the journal, up to which the totals on the disk count
	totals  []Totals // as they are on the disk
	pending []Totals // being written
}

type ledgerContent struct {
	At time.Time `json:"at"`
	// Entry is the number of the newest entry of the journal that is in the
	// totals; 0 in a ledger of old.
	Entry  uint64   `json:"entry"`
	Totals []Totals `json:"totals"`
}

// OpenLedger reads the totals that an earlier run left in dir. What it cannot
// read it reports in the error, and goes on with the file before or with none.
func OpenLedger(dir string) (*Ledger, []Totals, error) { return openLedgerOn(disk{}, dir) }

func openLedgerOn(files fileSystem, dir string) (*Ledger, []Totals, error) {
	l := &Ledger{stateFile: stateFile{files: files, what: "exposure ledger", path: filepath.Join(dir, LedgerFile), period: ledgerPeriod}}
	var text ledgerContent
	err := l.read(&text)
	l.entry, l.totals = text.Entry, text.Totals
	return l, text.Totals, err
}

// Entry returns the number of the newest entry of the journal that the totals on
// the disk count.
func (l *Ledger) Entry() uint64 { return l.entry }

// Save writes the totals, which count the journal up to entry, when a minute has
// passed by the rows' time (15 s while open is set: an event is open), when time
// went back, or when now is set. Totals of what has left the configuration stay.
func (l *Ledger) Save(at time.Time, entry uint64, totals func() []Totals, open, now bool) error {
	l.period = ledgerPeriod
	if open {
		l.period = ledgerEventPeriod
	}
	wrote, err := l.save(at, func() any {
		l.pending = l.With(totals())
		return ledgerContent{At: at.UTC(), Entry: entry, Totals: l.pending}
	}, now)
	if wrote {
		l.entry, l.totals = entry, l.pending
	}
	return err
}

// With returns totals, and those on the disk of what totals has none of.
func (l *Ledger) With(totals []Totals) []Totals {
	all := append([]Totals(nil), totals...)
	for _, t := range l.totals {
		if find(totals, t) == nil {
			all = append(all, t)
		}
	}
	return all
}

// Written returns what the disk holds of each of totals: nothing counted where it
// holds none.
func (l *Ledger) Written(totals []Totals) []Totals {
	written := make([]Totals, len(totals))
	for i, t := range totals {
		if on := find(l.totals, t); on != nil {
			written[i] = *on
		} else {
			written[i] = Totals{Group: t.Group, Compressor: t.Compressor, Circuit: t.Circuit}
		}
	}
	return written
}

// find returns those of totals that are of the same place as t; nil where there
// are none.
func find(totals []Totals, t Totals) *Totals {
	for i := range totals {
		if o := &totals[i]; o.Group == t.Group && o.Compressor == t.Compressor && o.Circuit == t.Circuit {
			return o
		}
	}
	return nil
}

// Status returns why the last write failed (empty when it did not) and how
// many did since start.
func (l *Ledger) Status() (fault string, failures uint64) { return l.fault, l.errors }

// SetAside names the files that could not be read and that a person has to look
// at; it ends when they are moved out of the directory.
func (l *Ledger) SetAside() []string { return l.setAsideNow() }
