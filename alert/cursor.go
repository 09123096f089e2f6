package alert

import (
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// Cursor is where a reader of the journal keeps how far it has come, so that it
// goes on from there after a restart: one value, replaced as a whole and synced.
// It is not safe for concurrent use.
type Cursor struct{ stateFile }

// OpenCursor reads the cursor name of dir, which it makes where it is missing,
// into a pointer; that is left alone where there is none yet. The error is what
// could not be read; the cursor can be saved all the same.
func OpenCursor(dir, name string, into any) (*Cursor, error) {
	c := &Cursor{stateFile{files: disk{}, what: "cursor", path: filepath.Join(dir, name)}}
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return c, fmt.Errorf("make the directory of cursors: %w", err)
	}
	return c, c.read(into)
}

// Save writes value.
func (c *Cursor) Save(value any) error {
	_, err := c.save(time.Time{}, func() any { return value }, true)
	return err
}
