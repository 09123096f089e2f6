package recording

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// finished lists the recordings in the directory but the one being written, the
// oldest first. Those that a crash left empty are deleted.
func (r *Recorder) finished() (files []fs.FileInfo, total int64, err error) {
	entries, err := os.ReadDir(r.dir) // sorted by name, so by time
	if err != nil {
		return nil, 0, err
	}
	for _, e := range entries {
		if name, ok := strings.CutSuffix(e.Name(), indexTail); ok && strings.HasPrefix(name, prefix) {
			if _, err := os.Stat(filepath.Join(r.dir, name)); errors.Is(err, fs.ErrNotExist) {
				_ = os.Remove(filepath.Join(r.dir, e.Name())) // its recording was deleted by hand
			} else if info, err := e.Info(); err == nil {
				total += info.Size()
			}
			continue
		}
		if !e.Type().IsRegular() || !strings.HasPrefix(e.Name(), prefix) || !strings.HasSuffix(e.Name(), suffix) {
			continue
		}
		info, err := e.Info()
		if err != nil {
			continue // deleted meanwhile
		}
		total += info.Size()
		if r.file != nil && filepath.Base(r.file.Name()) == e.Name() {
			continue
		}
		if info.Size() == 0 {
			if err := removeWithIndex(filepath.Join(r.dir, e.Name())); err != nil {
				return nil, 0, err
			}
			continue
		}
		files = append(files, info)
	}
	return files, total, nil
}

// removeWithIndex deletes a recording and the index beside it.
func removeWithIndex(path string) error {
	if err := os.Remove(path); err != nil {
		return err
	}
	if err := os.Remove(path + indexTail); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// deleteForLimit deletes the oldest recordings until one more fits in the limit.
func (r *Recorder) deleteForLimit() error {
	files, total, err := r.finished()
	if err != nil {
		return err
	}
	for _, info := range files {
		if total <= r.limits.Bytes-r.fileLimit() {
			break
		}
		if err := removeWithIndex(filepath.Join(r.dir, info.Name())); err != nil {
			return err
		}
		total -= info.Size()
	}
	return nil
}

// makeRoom deletes the oldest recordings until the disk has the reserve and size
// bytes free. It fails when none is left to delete.
func (r *Recorder) makeRoom(size int64) error {
	if r.limits.Reserve <= 0 {
		return nil
	}
	// The directory may not be there yet; its parent is on the same disk.
	place := r.dir
	if _, err := os.Stat(place); err != nil {
		place = filepath.Dir(place)
	}
	for {
		free, total, known := r.space(place)
		reserve := min(r.limits.Reserve, total/maxReserveShare)
		if !known || free >= reserve+size {
			return nil
		}
		files, _, err := r.finished()
		if err != nil {
			return err
		}
		if len(files) == 0 {
			_ = r.finish() // so that it is whole; where that fails, its rows still are
			return fmt.Errorf("%d MB are free, and %d MB of them stay for the event journal and the exposure: free some space, or set daemon.record_limit lower", free/1e6, reserve/1e6)
		}
		if err := removeWithIndex(filepath.Join(r.dir, files[0].Name())); err != nil {
			return err
		}
	}
}
