//go:build unix

package alert

import (
	"errors"
	"os"
	"syscall"

	"github.com/google/renameio/v2"
)

// lock opens a file that this process alone holds, and returns errInUse when
// another process does.
func lock(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, errInUse
		}
		return nil, err
	}
	return f, nil
}

// replaceFile writes a whole file in the place of another; a power cut leaves
// one of the two.
func replaceFile(path string, content []byte, mode os.FileMode) error {
	return renameio.WriteFile(path, content, mode)
}

func isReadOnly(err error) bool { return errors.Is(err, syscall.EROFS) }
