package alert

import (
	"bytes"
	"fmt"
	"hash/crc32"
	"strconv"
)

// A frame is one line: CRC-32 (IEEE) of the text in hex, its length, the text.
// A person reads it with any pager; a flipped bit or a torn end shows.
//
//	5f3a9c01 27 {"at":"…","entry":"note"}

// appendFrame appends text as a frame. The text holds no new line.
func appendFrame(dst, text []byte) []byte {
	dst = fmt.Appendf(dst, "%08x %d ", crc32.ChecksumIEEE(text), len(text))
	return append(append(dst, text...), '\n')
}

// maxHeader is the longest "crc length " that is looked for.
const maxHeader = 8 + 1 + 10 + 1

// readFrames calls each with the text of every sound frame of data, in order.
// It returns how many damaged pieces it skipped and how many bytes at the end
// are a frame that was never written whole.
//
// A damaged frame costs itself alone: the length finds its end when the new
// line is damaged, the new line when the length is.
func readFrames(data []byte, each func(text []byte)) (damaged, torn int) {
	for len(data) > 0 {
		text, size, ok := firstFrame(data)
		if ok {
			each(text)
			if size < len(data) && data[size] != '\n' {
				damaged++ // the new line itself was hit
			}
			data = data[min(size+1, len(data)):]
			continue
		}
		end := bytes.IndexByte(data, '\n')
		if end < 0 {
			return damaged, len(data)
		}
		damaged++
		data = data[end+1:]
	}
	return damaged, 0
}

// firstFrame reads the frame that data starts with; size is without its new line.
func firstFrame(data []byte) (text []byte, size int, ok bool) {
	head := data[:min(len(data), maxHeader)]
	crcText, rest, found := bytes.Cut(head, []byte{' '})
	if !found || len(crcText) != 8 {
		return nil, 0, false
	}
	lengthText, _, found := bytes.Cut(rest, []byte{' '})
	if !found {
		return nil, 0, false
	}
	crc, err := strconv.ParseUint(string(crcText), 16, 32)
	if err != nil {
		return nil, 0, false
	}
	length, err := strconv.ParseUint(string(lengthText), 10, 31)
	if err != nil {
		return nil, 0, false
	}
	from := len(crcText) + 1 + len(lengthText) + 1
	if uint64(len(data)-from) < length {
		return nil, 0, false
	}
	size = from + int(length)
	text = data[from:size]
	return text, size, crc32.ChecksumIEEE(text) == uint32(crc)
}
