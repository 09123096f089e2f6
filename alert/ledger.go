package alert

import (
	"path/filepath"
	"time"
)

// LedgerFile is the ledger's name inside the data directory.
const LedgerFile = "exposure.ledger"

// ledgerPeriod is how often totals that grow are written; a crash loses no
// more running time than this, and no event, since a change writes at once.
const ledgerPeriod = time.Minute

// Ledger keeps the exposure of each compressor on disk, so that its counters
// survive a restart. It is not safe for concurrent use.
type Ledger struct{ stateFile }

type ledgerContent struct {
	At     time.Time `json:"at"`
	Totals []Totals  `json:"totals"`
}

// OpenLedger reads the totals that an earlier run left in dir. What it cannot
// read it reports in the error, and goes on with the file before or with none.
func OpenLedger(dir string) (*Ledger, []Totals, error) {
	l := &Ledger{stateFile{what: "exposure ledger", path: filepath.Join(dir, LedgerFile), period: ledgerPeriod}}
	var text ledgerContent
	err := l.read(&text)
	return l, text.Totals, err
}

// Save writes the totals when a minute has passed by the rows' time, when time
// went back, or when now is set.
func (l *Ledger) Save(at time.Time, totals func() []Totals, now bool) error {
	return l.save(at, func() any { return ledgerContent{At: at.UTC(), Totals: totals()} }, now)
}

// Status returns why the last write failed (empty when it did not) and how
// many did since start.
func (l *Ledger) Status() (fault string, failures uint64) { return l.fault, l.errors }
