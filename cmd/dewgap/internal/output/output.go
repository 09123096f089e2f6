// Package output opens the files that a command writes. It never lets one replace
// what the command reads, and replaces another file only when it was told to.
package output

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// File is one file that a command is to write.
type File struct {
	Option string // as the user gave it, such as --out
	Path   string // empty: the option was not given
}

// Files are all that one command reads and writes.
type Files struct {
	Inputs  []string // paths; empty ones are ignored
	Outputs []File
	Force   bool // replace existing files
}

// Check returns why the outputs must not be written, or nil. It opens nothing. An
// output is refused when it is an input or another output of the command, also
// by another path, a hard or a symbolic link, and when it exists and Force is not
// set. Devices and pipes are no files that could be replaced.
func (f Files) Check() error {
	for i, out := range f.Outputs {
		if out.Path == "" {
			continue
		}
		for _, in := range f.Inputs {
			if in != "" && same(out.Path, in) {
				return fmt.Errorf("%s %s is %s, which this command reads: choose another file", out.Option, out.Path, in)
			}
		}
		for _, other := range f.Outputs[:i] {
			if other.Path != "" && same(out.Path, other.Path) {
				return fmt.Errorf("%s %s is also %s %s: choose two files", out.Option, out.Path, other.Option, other.Path)
			}
		}
		info, err := os.Stat(out.Path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
		case err != nil:
			return fmt.Errorf("%s: %w", out.Option, err)
		case info.IsDir():
			return fmt.Errorf("%s %s is a directory: name a file", out.Option, out.Path)
		case info.Mode().IsRegular() && !f.Force:
			return fmt.Errorf("%s %s exists: choose another name, or replace it with --force", out.Option, out.Path)
		}
	}
	return nil
}

// Create opens an output that Check accepted. Without force an existing file is
// an error, also one that has appeared since.
func (f Files) Create(path string) (*os.File, error) {
	info, err := os.Stat(path)
	if f.Force || err == nil && !info.Mode().IsRegular() {
		return os.Create(path)
	}
	return os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
}

// same reports whether two paths lead to one file. A file that does not exist yet
// is told by the directory that it will be in.
func same(a, b string) bool {
	infoA, errA := os.Stat(a)
	infoB, errB := os.Stat(b)
	if errA == nil && errB == nil {
		// /dev/null and a terminal may be read and written at once.
		return os.SameFile(infoA, infoB) && (infoA.Mode().IsRegular() || infoA.IsDir())
	}
	return errA != nil && errB != nil && resolve(a, maxLinks) == resolve(b, maxLinks)
}

// maxLinks is how many symbolic links are followed; Linux follows 40.
const maxLinks = 40

// resolve returns where a path to a file that does not exist leads.
func resolve(path string, links int) string {
	path, err := filepath.Abs(path)
	if err != nil {
		return path
	}
	dir, name := filepath.Split(path)
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		dir = real
	}
	path = filepath.Join(dir, name)
	target, err := os.Readlink(path)
	if err != nil || links == 0 {
		return path
	}
	if !filepath.IsAbs(target) {
		target = filepath.Join(dir, target)
	}
	return resolve(target, links-1)
}
