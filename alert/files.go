package alert

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// fileSystem is what journal and state files ask of the data directory. Tests
// put one in its place that fails.
type fileSystem interface {
	Open(path string, flag int, mode os.FileMode) (file, error)
	Rename(from, to string) error
	Link(from, to string) error
	Remove(path string) error
	Stat(path string) (fs.FileInfo, error)
	// SyncDir brings the names in a directory to the disk.
	SyncDir(path string) error
}

// file is an open file of a fileSystem.
type file interface {
	io.ReaderAt
	io.WriterAt
	io.Closer
	Truncate(size int64) error
	Sync() error
	Stat() (fs.FileInfo, error)
}

// disk is the real file system.
type disk struct{}

func (disk) Open(path string, flag int, mode os.FileMode) (file, error) {
	f, err := os.OpenFile(path, flag, mode)
	if err != nil {
		return nil, err // not a nil *os.File in an interface
	}
	return f, nil
}

func (disk) Rename(from, to string) error          { return os.Rename(from, to) }
func (disk) Link(from, to string) error            { return os.Link(from, to) }
func (disk) Remove(path string) error              { return os.Remove(path) }
func (disk) Stat(path string) (fs.FileInfo, error) { return os.Stat(path) }
func (disk) SyncDir(path string) error             { return syncDir(path) }

const fileMode = 0o640

// newSuffix marks a file that is being written. The name is always the same, so
// that a fault that recurs has the same text, and a crash leaves one such file.
const newSuffix = ".new"

// replace writes a whole file in the place of another and brings its name to the
// disk; a power cut leaves one of the two. before is called between the two,
// where it is not nil: when it fails, the other file stays.
func replace(files fileSystem, path string, content []byte, before func() error) error {
	f, err := files.Open(path+newSuffix, os.O_RDWR|os.O_CREATE|os.O_TRUNC, fileMode)
	if err != nil {
		return err
	}
	err = writeWhole(f, content)
	if err = errors.Join(err, f.Close()); err != nil {
		// What it holds takes space from a disk that may be full.
		_ = files.Remove(path + newSuffix)
		return err
	}
	if before != nil {
		if err := before(); err != nil {
			return err
		}
	}
	if err := files.Rename(path+newSuffix, path); err != nil {
		return err
	}
	return files.SyncDir(filepath.Dir(path))
}

func writeWhole(f file, content []byte) error {
	if _, err := f.WriteAt(content, 0); err != nil {
		return err
	}
	return f.Sync()
}

const (
	readChunk = 64 << 10
	// badBlock is how much is passed over behind a read error: the unit in which
	// disks and file systems fail.
	badBlock = 4 << 10
	// maxBadBlocks bounds the time that a failing disk takes; each error can take
	// it seconds.
	maxBadBlocks = 16
)

// readSound reads a file as far as the disk gives it. What it does not give is
// zeros in data, and err is why. Data is nil where the file is not there.
func readSound(files fileSystem, path string) (data []byte, err error) {
	f, err := files.Open(path, os.O_RDONLY, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil { // once more: what is set aside for a passing fault costs a person's time
		if f, err = files.Open(path, os.O_RDONLY, 0); err != nil {
			return nil, err
		}
	}
	defer f.Close()
	data = []byte{}
	var bad int
	buffer := make([]byte, readChunk)
	chunk := readChunk
	for {
		n, failed := f.ReadAt(buffer[:chunk], int64(len(data)))
		data = append(data, buffer[:n]...)
		switch {
		case failed == nil:
			chunk = readChunk
		case errors.Is(failed, io.EOF):
			return data, err
		case n > 0:
			err = failed
		case chunk > badBlock: // the part of it before the bad block can be read
			err, chunk = failed, badBlock-len(data)%badBlock
		default:
			err = failed
			bad++
			st, unknown := f.Stat()
			if bad > maxBadBlocks || unknown != nil || int64(len(data)) >= st.Size() {
				return data, err
			}
			data = append(data, make([]byte, min(int64(badBlock-len(data)%badBlock), st.Size()-int64(len(data))))...)
		}
	}
}
