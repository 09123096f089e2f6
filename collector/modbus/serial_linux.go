package modbus

import (
	"context"
	"fmt"
	"os"
	"unsafe"

	"golang.org/x/sys/unix"
)

// speedBits are speeds as the terminal driver takes them.
var speedBits = map[int]uint32{
	1200: unix.B1200, 2400: unix.B2400, 4800: unix.B4800, 9600: unix.B9600, 19200: unix.B19200,
	38400: unix.B38400, 57600: unix.B57600, 115200: unix.B115200, 230400: unix.B230400,
}

// openSerial opens a serial port for RTU. The port is non-blocking, so that
// the runtime can hold it to a deadline.
func openSerial(device string, s Serial) func(context.Context) (conn, error) {
	return func(context.Context) (conn, error) {
		f, err := os.OpenFile(device, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
		if err != nil {
			return nil, err
		}
		if err := s.configure(f); err != nil {
			f.Close()
			return nil, fmt.Errorf("set up %s: %w", device, err)
		}
		return f, nil
	}
}

func (s *Serial) configure(f *os.File) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	err = raw.Control(func(fd uintptr) { inner = s.configureFD(int(fd)) })
	if err != nil {
		return err
	}
	return inner
}

func (s *Serial) configureFD(fd int) error {
	speed := speedBits[s.Baud]
	t := unix.Termios{Cflag: unix.CREAD | unix.CLOCAL | speed, Ispeed: speed, Ospeed: speed}
	t.Cc[unix.VMIN] = 1
	if s.DataBits == 7 {
		t.Cflag |= unix.CS7
	} else {
		t.Cflag |= unix.CS8
	}
	switch s.Parity {
	case "even":
		t.Cflag |= unix.PARENB
		t.Iflag |= unix.INPCK
	case "odd":
		t.Cflag |= unix.PARENB | unix.PARODD
		t.Iflag |= unix.INPCK
	}
	if s.StopBits == 2 {
		t.Cflag |= unix.CSTOPB
	}
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, &t); err != nil {
		return err
	}
	if s.RS485 {
		if err := setRS485(fd); err != nil {
			return fmt.Errorf("the driver has no RS-485 direction control (switch rs485 off if the adapter does it itself): %w", err)
		}
	}
	// Bytes in the driver's buffer belong to an earlier program's request.
	return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIOFLUSH)
}

// setRS485 asks the driver to raise RTS while sending (linux/serial.h).
func setRS485(fd int) error {
	settings := struct {
		flags, before, after uint32
		padding              [5]uint32
	}{flags: 1<<0 | 1<<1} // enabled, RTS on send
	_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), unix.TIOCSRS485, uintptr(unsafe.Pointer(&settings)))
	if errno != 0 {
		return errno
	}
	return nil
}
