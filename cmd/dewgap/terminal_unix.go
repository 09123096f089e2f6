//go:build unix

package main

import (
	"os"

	"golang.org/x/sys/unix"
)

// defaultColumns is the width of a terminal that does not report its own;
// common practice, no source.
const defaultColumns = 120

// terminalWidth returns the columns of a terminal, and false for any other file.
func terminalWidth(f *os.File) (columns int, terminal bool) {
	size, err := unix.IoctlGetWinsize(int(f.Fd()), unix.TIOCGWINSZ)
	if err != nil {
		return 0, false
	}
	if size.Col == 0 {
		return defaultColumns, true
	}
	return int(size.Col), true
}
