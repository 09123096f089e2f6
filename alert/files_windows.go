package alert

import (
	"errors"
	"os"
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

// syncDir does nothing: Windows does not promise that a change of a name is one
// step in a power cut, and has no call for it.
func syncDir(string) error { return nil }

// errorWriteProtect is ERROR_WRITE_PROTECT of winerror.h.
const errorWriteProtect = syscall.Errno(19)

func isReadOnly(err error) bool { return errors.Is(err, errorWriteProtect) }

// errorDiskFull is ERROR_DISK_FULL of winerror.h.
const errorDiskFull = syscall.Errno(112)

func isFull(err error) bool { return errors.Is(err, errorDiskFull) }
