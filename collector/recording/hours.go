package recording

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"time"

	"dewgap/analyze/units"
)

// The recorder begins a new gzip member (RFC 1952) at the first row of each hour, so
// that reading can begin there. The member's header holds the time of that row; the
// index beside the recording lists times and places of all members. The index only
// saves a search: what it says is compared with the header it points to.

// hourMark is the identifier of the subfield of a gzip header that holds the time
// of the member's first row: milliseconds since 1970, 64 bits, low byte first.
const hourMark = "Dg"

const (
	markSize  = 4 + 8              // identifier, length, time
	indexHead = "dewgap index 1\n" // first line of an index
	indexTail = ".index"           // appended to the name of the recording
	// maxIndex bounds what is read of an index: 100,000 hours.
	maxIndex = 4 << 20
)

// hour is a place where reading can begin.
type hour struct {
	first  time.Time // of its first row
	offset int64     // of its member in the file
}

// appendMark appends the subfield with the time of a first row.
func appendMark(dst []byte, first time.Time) []byte {
	dst = append(dst, hourMark...)
	dst = binary.LittleEndian.AppendUint16(dst, 8)
	return binary.LittleEndian.AppendUint64(dst, uint64(first.UnixMilli()))
}

// markOf returns the time in the extra field of a gzip header.
func markOf(extra []byte) (time.Time, bool) {
	for len(extra) >= 4 {
		n := int(binary.LittleEndian.Uint16(extra[2:]))
		if len(extra) < 4+n {
			break
		}
		if string(extra[:2]) == hourMark && n == 8 {
			return time.UnixMilli(int64(binary.LittleEndian.Uint64(extra[4:]))).UTC(), true
		}
		extra = extra[4+n:]
	}
	return time.Time{}, false
}

// indexLine is a member in the index: where it begins and when.
func indexLine(h hour) string {
	return strconv.FormatInt(h.offset, 10) + " " + h.first.UTC().Format(timeLayout) + "\n"
}

// parseIndex reads an index. A last line that was cut off is left out; anything else
// that is wrong makes the whole index unusable.
func parseIndex(text []byte) ([]hour, error) {
	rest, ok := bytes.CutPrefix(text, []byte(indexHead))
	if !ok {
		return nil, fmt.Errorf("the index does not begin with %q", strings.TrimSpace(indexHead))
	}
	var hours []hour
	for number := 2; ; number++ {
		line, after, whole := bytes.Cut(rest, []byte{'\n'})
		if !whole {
			return hours, nil
		}
		offset, at, _ := strings.Cut(string(line), " ")
		h := hour{}
		var err error
		if h.offset, err = strconv.ParseInt(offset, 10, 64); err == nil {
			h.first, err = time.Parse(timeLayout, at)
		}
		if err != nil {
			return nil, fmt.Errorf("line %d of the index: %.60q is not OFFSET TIME: %w", number, line, err)
		}
		if n := len(hours); h.offset < 0 || n > 0 && (h.offset <= hours[n-1].offset || h.first.Before(hours[n-1].first)) {
			return nil, fmt.Errorf("line %d of the index: %.60q is not after the line above", number, line)
		}
		hours, rest = append(hours, h), after
	}
}

// memberAt reports whether a member that begins with the row of h stands at its
// offset.
func memberAt(in io.ReaderAt, h hour) bool {
	const fixed = 10 // before the extra field and its length
	head := make([]byte, fixed+2+markSize)
	if _, err := in.ReadAt(head, h.offset); err != nil {
		return false
	}
	at, ok := memberHead(head)
	return ok && at.Equal(h.first.Truncate(time.Millisecond))
}

// memberHead returns the time in the first bytes of a member that a recorder wrote.
func memberHead(head []byte) (time.Time, bool) {
	const extraFollows = 4 // flag FEXTRA
	if len(head) < 12+markSize || head[0] != 0x1f || head[1] != 0x8b || head[2] != 8 || head[3]&extraFollows == 0 ||
		binary.LittleEndian.Uint16(head[10:]) != markSize {
		return time.Time{}, false
	}
	return markOf(head[12 : 12+markSize])
}

// findHours searches a recording for its members. Compressed data that looks like a
// header with its mark by chance is a matter of one in 10^19 bytes.
func findHours(in io.Reader) ([]hour, error) {
	const size = 12 + markSize
	r := bufio.NewReaderSize(in, bufferSize)
	var hours []hour
	var offset int64
	for {
		window, err := r.Peek(r.Size())
		if len(window) < size {
			if err == io.EOF {
				err = nil
			}
			return hours, err
		}
		scan := len(window) - size + 1
		for i := 0; i < scan; {
			n := bytes.IndexByte(window[i:scan], 0x1f)
			if n < 0 {
				break
			}
			i += n
			if at, ok := memberHead(window[i:]); ok {
				hours = append(hours, hour{at, offset + int64(i)})
			}
			i++
		}
		if _, err := r.Discard(scan); err != nil {
			return hours, err
		}
		offset += int64(scan)
	}
}

// placeOf returns the place where reading of the recording in begins for the instant
// from: by the index where that is right, or by a search. There is none in an older
// recording, which has no such members, and before the first row.
func placeOf(in *os.File, path string, from time.Time) (place hour, ok bool, err error) {
	last := func(hours []hour) (hour, bool) {
		i := sort.Search(len(hours), func(i int) bool { return hours[i].first.After(from) }) - 1
		if i < 0 || !memberAt(in, hours[i]) {
			return hour{}, false
		}
		return hours[i], true
	}
	if text, err := readSome(path+indexTail, maxIndex); err == nil {
		if hours, err := parseIndex(text); err == nil {
			if place, ok := last(hours); ok {
				return place, true, nil
			}
		}
	}
	// An older recording shows by its first bytes that there is nothing to find.
	head := make([]byte, 12+markSize)
	if _, err := in.ReadAt(head, 0); err != nil {
		return hour{}, false, nil // shorter than that
	}
	if _, ok := memberHead(head); !ok {
		return hour{}, false, nil
	}
	hours, err := findHours(io.NewSectionReader(in, 0, 1<<62))
	if err != nil {
		return hour{}, false, err
	}
	place, ok = last(hours)
	return place, ok, nil
}

func readSome(path string, most int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, most))
}

// OpenAt opens a recording so that its first rows are those of the hour that holds
// from, or of the last one before it. Where the recording is of an older form or not
// compressed, it begins with its first row. Rows before from are the caller's to pass
// over. Row numbers in errors count from where reading began.
func OpenAt(path string, from time.Time, lookup func(path string) (int, error), atmosphere units.Pascal) (*Reader, error) {
	return OpenThrough(path, from, asItIs, lookup, atmosphere)
}

// OpenThrough is OpenAt for a recording that may still be written: what through
// returns reads the file from its offset on, and may wait at the end for more.
func OpenThrough(path string, from time.Time, through func(*os.File) io.Reader, lookup func(path string) (int, error), atmosphere units.Pascal) (*Reader, error) {
	r, err := open(path, through, lookup, atmosphere)
	if err != nil || !strings.HasSuffix(path, ".gz") {
		return r, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, errors.Join(err, r.Close())
	}
	place, ok, err := placeOf(f, path, from)
	if err != nil {
		return nil, errors.Join(&Error{Name: path, Line: 1, Err: err}, f.Close(), r.Close())
	}
	if !ok || place.offset == 0 {
		return r, f.Close()
	}
	// The columns have been read; what follows comes from the other place.
	if err := r.Close(); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	_, err = f.Seek(place.offset, io.SeekStart)
	var z *gzip.Reader
	if err == nil {
		z, err = gzip.NewReader(bufio.NewReaderSize(through(f), bufferSize))
	}
	if err != nil {
		return nil, errors.Join(&Error{Name: path, Line: 1, Err: gzipError(err)}, f.Close())
	}
	r.name = fmt.Sprintf("%s, from %s on", path, place.first.Format(time.RFC3339))
	r.lines, r.close = lines{in: z}, f.Close
	return r, nil
}

// File is one of the recordings in a directory.
type File struct {
	Path  string
	First time.Time // of its first row, as its name has it
}

// Files returns the recordings in dir that a recorder wrote, in order of time. A
// directory that is not there holds none.
func Files(dir string) ([]File, error) {
	entries, err := os.ReadDir(dir) // sorted by name, so by time
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list the recordings: %w", err)
	}
	var files []File
	for _, e := range entries {
		if first, ok := FirstOf(e.Name()); ok && e.Type().IsRegular() {
			files = append(files, File{filepath.Join(dir, e.Name()), first})
		}
	}
	return files, nil
}

// FirstOf returns the time of the first row of a recording that a recorder wrote, as
// its name has it.
func FirstOf(path string) (time.Time, bool) {
	text, ok := strings.CutPrefix(filepath.Base(path), prefix)
	text, gz := strings.CutSuffix(text, suffix)
	first, err := time.Parse(nameLayout, text)
	return first, ok && gz && err == nil
}
