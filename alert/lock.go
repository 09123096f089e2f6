package alert

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// lockDir keeps a second daemon out of dir. The lock goes with the process,
// however it ends. A directory that takes no file is not locked: it takes no
// journal either, which Status tells.
func lockDir(dir string) (*os.File, error) {
	st, err := os.Stat(dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	if err == nil && !st.IsDir() {
		return nil, fmt.Errorf("%s is not a directory", dir)
	}
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, nil
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("%s is in use by another dewgap: give each its own data directory", dir)
		}
		return nil, nil // a file system without locks
	}
	return f, nil
}

func isReadOnly(err error) bool { return errors.Is(err, syscall.EROFS) }
