package history

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
)

// Store is a directory of finished blocks: one file for each level and day, in UTC,
// to which a member is added each hour.
type Store struct {
	dir   string
	limit int64 // most bytes of all files together

	disk    sync.Mutex      // held while files are read or written
	checked map[string]bool // files that were seen whole since start

	mu      sync.Mutex
	waiting []finished // for the disk
	wake    chan struct{}
	fault   error
	current *Collector
}

type finished struct {
	level int
	*block
}

// maxWaiting bounds what waits for a disk that fails: the newest four days.
const maxWaiting = 2 * 96

// Open returns the store in dir, which need not be there. limit is the most bytes
// that it takes; the oldest days go first.
func Open(dir string, limit int64) *Store {
	return &Store{dir: dir, limit: limit, checked: map[string]bool{}, wake: make(chan struct{}, 1)}
}

// Add takes a finished block. It never waits for the disk; see Run.
func (s *Store) Add(level int, b *block) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.waiting = append(s.waiting, finished{level, b})
	if n := len(s.waiting) - maxWaiting; n > 0 {
		s.waiting = slices.Clone(s.waiting[n:])
	}
	s.wakeUp()
}

// retryAfter is the pause after a failed write.
const retryAfter = time.Minute

// Run writes what Add takes until ctx ends. Call Drain after the last Add.
func (s *Store) Run(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-s.wake:
		}
		if s.Drain() != nil {
			pause := time.NewTimer(retryAfter)
			select {
			case <-ctx.Done():
				pause.Stop()
				return nil
			case <-pause.C:
				s.wakeUp()
			}
		}
	}
}

func (s *Store) wakeUp() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Drain writes all that waits, or returns why it cannot.
func (s *Store) Drain() error {
	s.disk.Lock()
	defer s.disk.Unlock()
	for {
		s.mu.Lock()
		if len(s.waiting) == 0 {
			s.fault = nil
			s.mu.Unlock()
			return nil
		}
		next := s.waiting[0]
		s.mu.Unlock()
		err := s.write(next.level, next.block)
		s.mu.Lock()
		if err == nil && len(s.waiting) > 0 && s.waiting[0] == next {
			s.waiting = s.waiting[1:]
		}
		s.fault = err
		s.mu.Unlock()
		if err != nil {
			return err
		}
	}
}

// Follow makes answers hold what c has of the hour that goes on; nil for nothing.
func (s *Store) Follow(c *Collector) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.current = c
}

// Fault returns why the last block could not be written; nil when it was.
func (s *Store) Fault() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.fault
}

const fileSuffix = ".gz"

func fileOf(level int, day time.Time) string {
	return levels[level].name + "-" + day.UTC().Format("20060102") + fileSuffix
}

// write adds a block to its file.
func (s *Store) write(level int, b *block) error {
	text, err := b.encode()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(s.dir, 0o755); err != nil {
		return fmt.Errorf("history: %w", err)
	}
	path := filepath.Join(s.dir, fileOf(level, b.From))
	if !s.checked[path] {
		if err := mend(path); err != nil {
			return fmt.Errorf("history: %w", err)
		}
		s.checked[path] = true
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		delete(s.checked, path) // it may end in the middle
		return fmt.Errorf("history: %w", err)
	}
	return s.makeRoom(path)
}

// mend cuts off what a crash left unfinished at the end of a file.
func mend(path string) error {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if whole, err := decode(text, func(*block) {}); err != nil {
		return os.Truncate(path, int64(whole))
	}
	return nil
}

// dayFile is a file of the store.
type dayFile struct {
	path, day string
	size      int64
}

// files returns the files of the store, the oldest day first, and their size.
func (s *Store) files() (files []dayFile, total int64, err error) {
	entries, err := os.ReadDir(s.dir)
	if err != nil {
		return nil, 0, fmt.Errorf("history: %w", err)
	}
	for _, e := range entries {
		info, err := e.Info()
		_, day, ok := strings.Cut(strings.TrimSuffix(e.Name(), fileSuffix), "-")
		if err != nil || !ok || !e.Type().IsRegular() {
			continue
		}
		files = append(files, dayFile{filepath.Join(s.dir, e.Name()), day, info.Size()})
		total += info.Size()
	}
	slices.SortFunc(files, func(a, b dayFile) int { return strings.Compare(a.day, b.day) })
	return files, total, nil
}

// begins returns the instant before which nothing is made from recordings: where
// the limit has taken days, it would take them again.
func (s *Store) begins() time.Time {
	s.disk.Lock()
	defer s.disk.Unlock()
	files, total, err := s.files()
	if err != nil || len(files) == 0 || total < s.limit/2 {
		return time.Time{}
	}
	day, err := time.Parse("20060102", files[0].day)
	if err != nil {
		return time.Time{}
	}
	return day
}

// makeRoom deletes the oldest days until the rest fits; never the file at keep.
func (s *Store) makeRoom(keep string) error {
	files, total, err := s.files()
	if err != nil {
		return err
	}
	for _, f := range files {
		if total <= s.limit {
			break
		}
		if f.path == keep {
			continue
		}
		if err := os.Remove(f.path); err != nil {
			return fmt.Errorf("history: %w", err)
		}
		total -= f.size
	}
	return nil
}

// each calls with with all blocks of a level from from until before to. They must
// not be kept. A file that is damaged gives what comes before the damage.
func (s *Store) each(level int, from, to time.Time, with func(*block)) error {
	s.disk.Lock() // so that no block is met both waiting and written
	defer s.disk.Unlock()
	inside := func(b *block) {
		if b.Step == levels[level].step && b.From.Before(to) && b.From.Add(time.Hour).After(from) {
			with(b)
		}
	}
	for day := from.UTC().Truncate(24 * time.Hour); day.Before(to); day = day.Add(24 * time.Hour) {
		text, err := os.ReadFile(filepath.Join(s.dir, fileOf(level, day)))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return fmt.Errorf("history: %w", err)
		}
		_, _ = decode(text, inside) // the damage is mended at the next writing
	}
	s.mu.Lock()
	current := s.current
	s.mu.Unlock()
	rest := func(b *block) {
		s.mu.Lock()
		waiting := slices.Clone(s.waiting)
		s.mu.Unlock()
		for _, f := range waiting {
			if f.level == level {
				inside(f.block)
			}
		}
		if b != nil {
			inside(b)
		}
	}
	if current == nil {
		rest(nil)
	} else {
		current.now(level, rest)
	}
	return nil
}
