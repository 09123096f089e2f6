package alert

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// errInUse is what lock returns when another process holds the file.
var errInUse = errors.New("in use")

// lockDir keeps a second daemon out of dir. The lock goes with the process,
// however it ends. A directory that takes no file is not locked: it takes no
// journal either, which Status reports.
func lockDir(dir string) (*os.File, error) {
	st, err := os.Stat(dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	if err == nil && !st.IsDir() {
		return nil, fmt.Errorf("%s is not a directory", dir)
	}
	f, err := lock(filepath.Join(dir, "lock"))
	if errors.Is(err, errInUse) {
		return nil, fmt.Errorf("%s is in use by another dewgap: give each its own data directory", dir)
	}
	return f, nil // without a file where the file system has no locks
}
