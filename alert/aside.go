package alert

import (
	"errors"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
)

const (
	asideSuffix = ".aside-"
	// maxAside is how many files are set aside. The first hold most; one more
	// takes the place of the last.
	maxAside = 5
)

// numberPastUnsound makes the next numbers larger than any in the files that could
// not be read. The highest of them is not known, but a journal has never had as
// many entries as seconds have passed from 1970 to when it was written last.
func (j *Journal) numberPastUnsound() error {
	for _, name := range j.unsound {
		st, err := j.files.Stat(filepath.Join(j.dir, name))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		if at := st.ModTime().Unix(); at > 0 {
			j.last = max(j.last, uint64(at))
		}
	}
	return nil
}

// setAside gives each unsound file another name, under which it stays until a
// person has looked at it. It is never cut.
func (j *Journal) setAside() error {
	for len(j.unsound) > 0 {
		name, err := setAside(j.files, filepath.Join(j.dir, j.unsound[0]))
		if err != nil {
			return err
		}
		j.unsound = j.unsound[1:]
		if name != "" && !slices.Contains(j.status.SetAside, name) {
			j.status.SetAside = append(j.status.SetAside, name)
		}
	}
	return nil
}

// setAside renames a file to the next free name for files that are set aside and
// returns that name; empty where there is no such file.
func setAside(files fileSystem, path string) (string, error) {
	to := ""
	for n := 1; n <= maxAside; n++ {
		to = path + asideSuffix + strconv.Itoa(n)
		if _, err := files.Stat(to); errors.Is(err, fs.ErrNotExist) {
			break
		}
	}
	err := files.Rename(path, to)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	return filepath.Base(to), err
}

// asideOf returns the names of files set aside from path.
func asideOf(files fileSystem, path string) (names []string) {
	for n := 1; n <= maxAside; n++ {
		to := path + asideSuffix + strconv.Itoa(n)
		if _, err := files.Stat(to); !errors.Is(err, fs.ErrNotExist) {
			names = append(names, filepath.Base(to))
		}
	}
	return names
}

func (j *Journal) findSetAside() {
	j.status.SetAside = append(asideOf(j.files, filepath.Join(j.dir, OlderFile)), asideOf(j.files, j.path())...)
}

// confirmSetAside looks whether a person has moved away what was set aside.
func (j *Journal) confirmSetAside() {
	if len(j.status.SetAside) > 0 {
		j.findSetAside()
	}
}
