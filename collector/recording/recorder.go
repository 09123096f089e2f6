package recording

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"dewgap/analyze/reading"
)

const (
	// DefaultEvery is the default time between two writes. Each write wears flash
	// by an erase block, however little it holds. Common practice, no source.
	DefaultEvery = time.Minute
	// maxBatch is written at once, also when its time has not come.
	maxBatch = 1 << 20
	// retryAfter is the pause after a failed write.
	retryAfter = 30 * time.Second
	// maxPending bounds what waits for a slow disk; rows beyond it are lost,
	// and counted.
	maxPending = 8 << 20
	// filesKept: a file is finished when it holds this share of the limit.
	filesKept = 8
	// minFile keeps a small limit from making a file for every row.
	minFile = 64 << 10
)

// Recorder keeps what the daemon reads in a directory, as compressed
// recordings named by the time of their first row, with an index beside each by
// which any hour opens at once (OpenAt). When together they would
// exceed the limit, the oldest are deleted. They give way to what is more
// important on the same disk: where it has less than the reserve free, the oldest
// are deleted, and when none is left, recording stops until there is room. A disk that fails or stalls costs
// rows of the recording, which are counted, and never holds up the caller.
type Recorder struct {
	dir    string
	limits Limits
	report func(error)
	space  func(dir string) (free, total int64, known bool)
	full   chan struct{} // a batch is ready before its time

	mu      sync.Mutex
	encoder *Encoder
	pending []byte
	rows    uint64 // in pending
	first   time.Time
	hour    int64 // since 1970, of the newest row
	cuts    []cut // in pending
	lost    uint64
	err     error

	file  *os.File // owned by Run, then by Close
	sound bool     // rows of it are on the disk
	gzip  *gzip.Writer
	index *os.File // nil: it could not be made, and readers search instead
	spare []byte
	retry time.Time
}

// cut is a place in pending where an hour begins.
type cut struct {
	at    int
	first time.Time
}

// Limits are what a recorder may use of a disk.
type Limits struct {
	Bytes   int64         // most bytes of all recordings together
	Every   time.Duration // time between two writes: what a crash or a power cut can lose; 0 for DefaultEvery
	Reserve int64         // bytes that stay free on the disk, an eighth of it at most; 0 for none
}

// maxReserveShare is the part of a small disk that the reserve takes at most.
const maxReserveShare = 8

// NewRecorder returns a recorder into dir. report is called with the first
// failure of a series and, with nil, at its end; it may be nil.
func NewRecorder(dir string, points []reading.Point, limits Limits, report func(error)) *Recorder {
	if report == nil {
		report = func(error) {}
	}
	limits.Bytes = max(limits.Bytes, 2*minFile)
	if limits.Every <= 0 {
		limits.Every = DefaultEvery
	}
	return &Recorder{dir: dir, limits: limits, report: report, space: diskSpace, full: make(chan struct{}, 1), encoder: NewEncoder(points)}
}

// Append takes a row. It never waits for the disk and never fails; see Lost.
func (r *Recorder) Append(row reading.Row) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.pending) >= maxPending {
		r.lost++
		return
	}
	if r.rows == 0 {
		r.first = row.Time
	}
	r.rows++
	if h := row.Time.Unix() / 3600; h != r.hour {
		r.hour = h
		r.cuts = append(r.cuts, cut{len(r.pending), row.Time})
	}
	r.pending = r.encoder.AppendRow(r.pending, row)
	if len(r.pending) >= maxBatch {
		select {
		case r.full <- struct{}{}:
		default:
		}
	}
}

// Lost returns how many rows could not be written, and the last error while
// it lasts.
func (r *Recorder) Lost() (rows uint64, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.lost, r.err
}

// Run writes to the disk until ctx ends. Close must follow.
func (r *Recorder) Run(ctx context.Context) error {
	tick := time.NewTicker(r.limits.Every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-r.full:
		case <-tick.C:
		}
		now := time.Now()
		if now.Before(r.retry) {
			continue
		}
		if err := r.write(); err != nil {
			r.retry = now.Add(retryAfter)
		}
	}
}

// Close writes what is left and finishes the file. Run must have returned and
// nobody may Append any more.
func (r *Recorder) Close() error { return errors.Join(r.write(), r.finish()) }

// write brings all pending rows to the disk.
func (r *Recorder) write() error {
	r.mu.Lock()
	first, rows, size := r.first, r.rows, len(r.pending)
	r.mu.Unlock()
	if rows == 0 {
		return nil
	}
	err := r.makeRoom(int64(size)) // while this fails, the rows stay pending
	if err == nil {
		err = r.openFile(first)
	}
	if err == nil {
		r.mu.Lock()
		chunk, rows, cuts := r.pending, r.rows, r.cuts
		r.pending, r.rows, r.cuts = r.spare[:0], 0, nil
		r.mu.Unlock()
		r.spare = chunk
		if err = r.writeChunk(chunk, cuts); err != nil {
			// How much of it arrived is not known, and rows must not come
			// twice.
			r.mu.Lock()
			r.lost += rows
			r.mu.Unlock()
		}
	}
	if err != nil {
		err = fmt.Errorf("write recording in %s: %w", r.dir, err)
		r.closeUnfinished()
	}
	r.mu.Lock()
	changed := (r.err == nil) != (err == nil)
	r.err = err
	r.mu.Unlock()
	if changed {
		r.report(err)
	}
	return err
}

// writeChunk writes, syncs, and finishes a file that is full. Each of cuts begins a
// member, but for one at the beginning of a file.
func (r *Recorder) writeChunk(chunk []byte, cuts []cut) error {
	from := 0
	for _, c := range cuts {
		if _, err := r.gzip.Write(chunk[from:c.at]); err != nil {
			return err
		}
		if from = c.at; c.at > 0 || r.sound {
			if err := r.nextHour(c.first); err != nil {
				return err
			}
		}
	}
	if _, err := r.gzip.Write(chunk[from:]); err != nil {
		return err
	}
	if err := r.gzip.Flush(); err != nil {
		return err
	}
	if err := r.file.Sync(); err != nil {
		return err
	}
	r.sound = true
	info, err := r.file.Stat()
	if err != nil {
		return err
	}
	if info.Size() >= r.fileLimit() {
		return r.finish()
	}
	return nil
}

// nextHour ends the member and begins the one of the row of instant first.
func (r *Recorder) nextHour(first time.Time) error {
	if err := r.gzip.Close(); err != nil {
		return err
	}
	offset, err := r.file.Seek(0, io.SeekCurrent)
	if err != nil {
		return err
	}
	r.gzip.Reset(r.file)
	r.gzip.Extra = appendMark(nil, first)
	r.writeIndex(indexLine(hour{first, offset}))
	return nil
}

// writeIndex adds to the index. It is not worth a fault: whoever misses it searches
// the recording.
func (r *Recorder) writeIndex(text string) {
	if r.index == nil {
		return
	}
	if _, err := r.index.WriteString(text); err != nil {
		r.closeIndex()
	}
}

func (r *Recorder) closeIndex() {
	if r.index != nil {
		r.index.Close()
		r.index = nil
	}
}

func (r *Recorder) fileLimit() int64 { return max(r.limits.Bytes/filesKept, minFile) }

// openFile opens a file when none is open, after making room for it.
func (r *Recorder) openFile(first time.Time) error {
	if r.file != nil {
		return nil
	}
	if err := os.MkdirAll(r.dir, 0o755); err != nil {
		return err
	}
	if err := r.deleteForLimit(); err != nil {
		return err
	}
	began := first
	for range 1000 { // another file of the same millisecond: take the next
		f, err := os.OpenFile(filepath.Join(r.dir, fileName(first)), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if errors.Is(err, fs.ErrExist) {
			first = first.Add(time.Millisecond)
			continue
		}
		if err != nil {
			return err
		}
		r.file, r.gzip, r.sound = f, gzip.NewWriter(f), false
		r.gzip.Extra = appendMark(nil, began)
		if r.index, err = os.Create(f.Name() + indexTail); err != nil {
			r.index = nil
		}
		r.writeIndex(indexHead + indexLine(hour{began, 0}))
		r.mu.Lock()
		header := r.encoder.AppendHeader(nil)
		r.mu.Unlock()
		_, err = r.gzip.Write(header)
		return err
	}
	return fmt.Errorf("%s and the thousand names after it are taken", fileName(first))
}

// finish ends the file so that it is whole.
func (r *Recorder) finish() error {
	if r.file == nil {
		return nil
	}
	err := errors.Join(r.gzip.Close(), r.file.Sync(), r.file.Close())
	r.file, r.gzip = nil, nil
	r.closeIndex()
	return err
}

// closeUnfinished leaves the file as it is: its whole rows can still be read. One
// without rows is deleted.
func (r *Recorder) closeUnfinished() {
	if r.file == nil {
		return
	}
	r.file.Close()
	r.closeIndex()
	if !r.sound {
		_ = removeWithIndex(r.file.Name()) // a failing disk; the next write finds it
	}
	r.file, r.gzip = nil, nil
}

// fileName names the recording that begins with the row of instant t: the
// order of names is the order of time.
func fileName(t time.Time) string {
	return prefix + t.UTC().Format(nameLayout) + suffix
}

const (
	nameLayout = "20060102T150405.000Z"

	prefix = "recording-"
	suffix = ".csv.gz"
)
