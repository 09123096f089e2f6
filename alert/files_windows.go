package alert

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
)

// errorSharingViolation is ERROR_SHARING_VIOLATION of winerror.h.
const errorSharingViolation = syscall.Errno(32)

// lock opens a file that this process alone holds, and returns errInUse when
// another process does. A file opened without a share mode cannot be opened a
// second time.
func lock(path string) (*os.File, error) {
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		return nil, err
	}
	const notShared = 0
	h, err := syscall.CreateFile(name, syscall.GENERIC_READ|syscall.GENERIC_WRITE, notShared, nil, syscall.OPEN_ALWAYS, syscall.FILE_ATTRIBUTE_NORMAL, 0)
	if errors.Is(err, errorSharingViolation) {
		return nil, errInUse
	}
	if err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(h), path), nil
}

// replaceFile writes a whole file in the place of another. The content is on
// the disk before the name changes; Windows does not promise that the change
// of the name is one step in a power cut.
func replaceFile(path string, content []byte, mode os.FileMode) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = os.Remove(f.Name())
		}
	}()
	_, err = f.Write(content)
	err = errors.Join(err, f.Chmod(mode), f.Sync(), f.Close())
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// errorWriteProtect is ERROR_WRITE_PROTECT of winerror.h.
const errorWriteProtect = syscall.Errno(19)

func isReadOnly(err error) bool { return errors.Is(err, errorWriteProtect) }
