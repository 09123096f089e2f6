package devices

import (
	"fmt"
	"os"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// OpenLine makes a serial line out of a pseudo-terminal pair: device is the
// end for ModbusFront.ServeLine, name the path that a reader opens as its
// serial port. keep holds the reader's end open, so that its closing and
// reopening does not hang up the device; close both when done.
func OpenLine() (device, keep *os.File, name string, err error) {
	device, keep, err = pty.Open()
	if err != nil {
		return nil, nil, "", fmt.Errorf("open a pseudo-terminal for a serial line: %w", err)
	}
	name = keep.Name()
	if err = raw(keep); err == nil {
		device, err = pollable(device)
	}
	if err != nil {
		device.Close()
		keep.Close()
		return nil, nil, "", fmt.Errorf("make %s a serial line: %w", name, err)
	}
	return device, keep, name, nil
}

// raw switches off everything a terminal does to bytes.
func raw(f *os.File) error {
	t, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	if err != nil {
		return err
	}
	t.Iflag, t.Oflag, t.Lflag = 0, 0, 0
	t.Cflag = unix.CS8 | unix.CREAD | unix.CLOCAL | t.Cflag&unix.CBAUD
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, t)
}

// pollable reopens f so that closing it ends a read in progress.
func pollable(f *os.File) (*os.File, error) {
	fd, err := unix.Dup(int(f.Fd()))
	if err != nil {
		return f, err
	}
	unix.CloseOnExec(fd)
	if err := unix.SetNonblock(fd, true); err != nil {
		unix.Close(fd)
		return f, err
	}
	name := f.Name()
	f.Close()
	return os.NewFile(uintptr(fd), name), nil
}
