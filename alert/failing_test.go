package alert

import (
	"io/fs"
	"os"
)

// failing is the real file system, of which the calls from number at on fail, as
// many as length.
type failing struct {
	at, length int
	err        error
	half       bool // a write that fails has written half of it
	calls      int
	names      []string // of the calls, in order
	hit        []string // of those that failed
}

func (f *failing) fails(name string) error {
	n := f.calls
	f.calls++
	f.names = append(f.names, name)
	if n >= f.at && n < f.at+f.length {
		f.hit = append(f.hit, name)
		return &fs.PathError{Op: name, Path: "the file", Err: f.err}
	}
	return nil
}

func (f *failing) Open(path string, flag int, mode os.FileMode) (file, error) {
	if err := f.fails("open"); err != nil {
		return nil, err
	}
	opened, err := disk{}.Open(path, flag, mode)
	if err != nil {
		return nil, err
	}
	return &failingFile{opened, f}, nil
}

func (f *failing) Rename(from, to string) error {
	if err := f.fails("rename"); err != nil {
		return err
	}
	return disk{}.Rename(from, to)
}

func (f *failing) Link(from, to string) error {
	if err := f.fails("link"); err != nil {
		return err
	}
	return disk{}.Link(from, to)
}

func (f *failing) Remove(path string) error {
	if err := f.fails("unlink"); err != nil {
		return err
	}
	return disk{}.Remove(path)
}

func (f *failing) Stat(path string) (fs.FileInfo, error) {
	if err := f.fails("stat"); err != nil {
		return nil, err
	}
	return disk{}.Stat(path)
}

func (f *failing) SyncDir(path string) error {
	return f.fails("sync directory")
}

type failingFile struct {
	file
	f *failing
}

func (x *failingFile) ReadAt(p []byte, off int64) (int, error) {
	if err := x.f.fails("read"); err != nil {
		return 0, err
	}
	return x.file.ReadAt(p, off)
}

func (x *failingFile) WriteAt(p []byte, off int64) (int, error) {
	if err := x.f.fails("write"); err != nil {
		n := 0
		if x.f.half {
			n, _ = x.file.WriteAt(p[:len(p)/2], off)
		}
		return n, err
	}
	return x.file.WriteAt(p, off)
}

func (x *failingFile) Truncate(size int64) error {
	if err := x.f.fails("truncate"); err != nil {
		return err
	}
	return x.file.Truncate(size)
}

func (x *failingFile) Sync() error {
	return x.f.fails("sync") // the test ends no process: nothing is lost without it
}

func (x *failingFile) Stat() (fs.FileInfo, error) {
	if err := x.f.fails("stat"); err != nil {
		return nil, err
	}
	return x.file.Stat()
}

func (x *failingFile) Close() error {
	err := x.f.fails("close")
	if closed := x.file.Close(); err == nil {
		err = closed
	}
	return err
}
