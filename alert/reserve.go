package alert

import (
	"errors"
	"os"
)

const (
	// ReserveFile holds space back for the journal and the ledger. It is given up
	// when the disk is full, and made again when there is room.
	ReserveFile = "space.reserve"
	// reserveBytes are a hundred changes of events or more. Common practice, no
	// source.
	reserveBytes = 256 << 10
	// reserveEvery is the number of commits between two attempts to make it again.
	reserveEvery = 300
)

// reserve is the file that holds space back.
type reserve struct {
	files   fileSystem
	path    string
	size    int64
	held    bool
	short   bool // the disk is too full for it
	commits int  // since the last attempt
}

// hold makes the file where it is not there.
func (r *reserve) hold() {
	if st, err := r.files.Stat(r.path); err == nil && st.Size() >= r.size {
		r.held, r.short = true, false
		return
	}
	f, err := r.files.Open(r.path, os.O_RDWR|os.O_CREATE, fileMode)
	if err == nil {
		err = errors.Join(writeWhole(f, make([]byte, r.size)), f.Close())
	}
	r.held, r.short = err == nil, err != nil && isFull(err)
	if err != nil {
		_ = r.files.Remove(r.path) // a part of it is no reserve
	}
}

// try makes the file again from time to time.
func (r *reserve) try() {
	if r.held {
		return
	}
	if r.commits++; r.commits >= reserveEvery {
		r.commits = 0
		r.hold()
	}
}

// free gives the space up and reports whether there was any.
func (r *reserve) free() bool {
	if !r.held {
		return false
	}
	r.held, r.short, r.commits = false, true, 0
	return r.files.Remove(r.path) == nil
}

// FreeReserve gives up the space that was held back, after a write beside the
// journal has failed with err, and reports whether that may help.
func (j *Journal) FreeReserve(err error) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return isFull(err) && j.reserve.free()
}
