package alert

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// ReadLedger returns the totals that the ledger in dir holds, and the time of the
// row up to which they were counted. It changes nothing and takes no lock: a
// daemon may be writing meanwhile. It fails when there is no ledger; where the
// newest file is damaged it returns the totals of the one before with the error.
func ReadLedger(dir string) (time.Time, []Totals, error) {
	f := stateFile{files: disk{}, what: "exposure ledger", path: filepath.Join(dir, LedgerFile)}
	var text ledgerContent
	if err := f.read(&text); err != nil {
		return text.At, text.Totals, err
	}
	if text.At.IsZero() {
		if _, err := os.Stat(f.path); errors.Is(err, os.ErrNotExist) {
			return time.Time{}, nil, fmt.Errorf("no exposure ledger in %s: %s is not there", dir, LedgerFile)
		}
		return time.Time{}, nil, fmt.Errorf("exposure ledger %s holds no totals", f.path)
	}
	return text.At, text.Totals, nil
}
