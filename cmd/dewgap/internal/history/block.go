package history

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"time"
)

// block is an hour or less of one level: for each step the number of rows, the
// values, and the seconds of each phase and stage.
type block struct {
	head
	rows    []float32
	values  []column      // by series
	seconds [][][]float32 // by track, kind, step
}

// head is what stands before the numbers of a block on the disk.
type head struct {
	From  time.Time     `json:"from"`
	Step  time.Duration `json:"step_ns"`
	Steps int           `json:"steps"`
	layout
}

// column is one quantity; NaN where not known.
type column struct {
	min, max, sum, count []float32
}

func newBlock(l layout, from time.Time, step time.Duration) *block {
	b := &block{head: head{From: from.UTC(), Step: step, Steps: int(time.Hour / step), layout: l}}
	b.make()
	return b
}

func (b *block) make() {
	n := b.Steps
	b.rows = make([]float32, n)
	b.values = make([]column, len(b.Series))
	for i := range b.values {
		b.values[i] = newColumn(n)
	}
	b.seconds = make([][][]float32, len(b.Tracks))
	for i := range b.seconds {
		b.seconds[i] = make([][]float32, len(b.Tracks[i].Kinds))
		for k := range b.seconds[i] {
			b.seconds[i][k] = make([]float32, n)
		}
	}
}

func newColumn(n int) column {
	c := column{make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)}
	for i := range n {
		c.min[i], c.max[i] = float32(math.NaN()), float32(math.NaN())
	}
	return c
}

func (c *column) add(at int, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	c.merge(at, float32(v), float32(v), float32(v), 1)
}

// merge takes a step of another column; sum is that of count values.
func (c *column) merge(at int, least, most, sum, count float32) {
	if !(c.min[at] <= least) {
		c.min[at] = least
	}
	if !(c.max[at] >= most) {
		c.max[at] = most
	}
	c.sum[at] += sum
	c.count[at] += count
}

// columns calls do with every column of numbers, in the order of the file.
func (b *block) columns(do func([]float32) error) error {
	if err := do(b.rows); err != nil {
		return err
	}
	for i := range b.values {
		c := &b.values[i]
		for _, numbers := range [][]float32{c.min, c.max, c.sum, c.count} {
			if err := do(numbers); err != nil {
				return err
			}
		}
	}
	for _, track := range b.seconds {
		for _, numbers := range track {
			if err := do(numbers); err != nil {
				return err
			}
		}
	}
	return nil
}

// encode returns a block as a gzip member: a line of JSON, then columns of 32-bit
// floats, low byte first.
func (b *block) encode() ([]byte, error) {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	text, err := json.Marshal(b.head)
	if err != nil {
		return nil, err
	}
	if _, err := z.Write(append(text, '\n')); err != nil {
		return nil, err
	}
	raw := make([]byte, 0, 4*b.Steps)
	err = b.columns(func(numbers []float32) error {
		raw = raw[:0]
		for _, v := range numbers {
			raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(v))
		}
		_, err := z.Write(raw)
		return err
	})
	if err == nil {
		err = z.Close()
	}
	return out.Bytes(), err
}

const (
	maxHead  = 1 << 20 // bytes of the line before the numbers: thousands of series
	maxSteps = 60
	maxKinds = 32
)

// decode calls each with the blocks of a file, and returns how many bytes of it are
// whole. Its error says why the rest is not.
func decode(text []byte, each func(*block)) (whole int, err error) {
	in := bytes.NewReader(text)
	for in.Len() > 0 {
		b, err := decodeOne(in)
		if err != nil {
			return whole, fmt.Errorf("byte %d on: %w", whole, err)
		}
		whole = len(text) - in.Len()
		each(b)
	}
	return whole, nil
}

func decodeOne(in *bytes.Reader) (*block, error) {
	z, err := gzip.NewReader(in)
	if err != nil {
		return nil, err
	}
	z.Multistream(false)
	r := bufio.NewReaderSize(io.LimitReader(z, maxHead+64<<20), 64<<10)
	line, err := r.ReadBytes('\n')
	if err != nil {
		return nil, err
	}
	b := &block{}
	if err := json.Unmarshal(line, &b.head); err != nil {
		return nil, err
	}
	if b.Steps < 1 || b.Steps > maxSteps || b.Step <= 0 || b.Step*time.Duration(b.Steps) != time.Hour || len(line) > maxHead {
		return nil, fmt.Errorf("%d steps of %s are no hour", b.Steps, b.Step)
	}
	for _, t := range b.Tracks {
		if len(t.Kinds) > maxKinds {
			return nil, fmt.Errorf("%d kinds of one track", len(t.Kinds))
		}
	}
	b.make()
	raw := make([]byte, 4*b.Steps)
	err = b.columns(func(numbers []float32) error {
		if _, err := io.ReadFull(r, raw); err != nil {
			return err
		}
		for i := range numbers {
			numbers[i] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if _, err := r.ReadByte(); err != io.EOF { // also compares the checksum
		return nil, errors.Join(errors.New("more numbers than the first line names"), err)
	}
	return b, nil
}
