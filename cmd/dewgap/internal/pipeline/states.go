package pipeline

import (
	"bufio"
	"io"
	"math"
	"strconv"
	"time"

	"dewgap/analyze"
)

// StatesWriter writes the contract's states.csv: a row for each compressor and
// recording row. What is not known is an empty cell.
type StatesWriter struct {
	w    *bufio.Writer
	line []byte
}

// NewStatesWriter writes the header to w and returns a writer for the rest.
func NewStatesWriter(w io.Writer) (*StatesWriter, error) {
	s := &StatesWriter{w: bufio.NewWriterSize(w, 1<<16)}
	_, err := s.w.WriteString("time,group,compressor,phase,superheat_k,floor_k,margin_k,expanded_uncertainty_k,suction_pressure_pa,dew_c,suction_temperature_c,quality\n")
	return s, err
}

// Write writes one row for each state.
func (s *StatesWriter) Write(states []analyze.State) error {
	for i := range states {
		st := &states[i]
		b := st.Time.UTC().AppendFormat(s.line[:0], time.RFC3339Nano)
		// Names cannot hold a comma or a quote: configuration allows letters,
		// digits, - and _ only.
		b = append(append(b, ','), st.Group...)
		b = append(append(b, ','), st.Name...)
		b = append(append(b, ','), st.Phase.String()...)
		b = appendNumber(b, float64(st.Superheat), 3)
		b = appendNumber(b, float64(st.Floor), 3)
		b = appendNumber(b, float64(st.Margin), 3)
		b = appendNumber(b, float64(st.Uncertainty), 3)
		b = appendNumber(b, float64(st.SuctionPressure), 1)
		b = appendNumber(b, float64(st.Dew), 3)
		b = appendNumber(b, float64(st.SuctionTemperature), 3)
		b = append(append(b, ','), st.Quality.String()...)
		b = append(b, '\n')
		s.line = b
		if _, err := s.w.Write(b); err != nil {
			return err
		}
	}
	return nil
}

// Flush writes what is buffered.
func (s *StatesWriter) Flush() error { return s.w.Flush() }

// appendNumber writes v with one to three decimals. Where the digits beyond are
// surely no tie it is an integer's text with a point: the same bytes as
// strconv's, in a quarter of the time.
func appendNumber(b []byte, v float64, decimals int) []byte {
	b = append(b, ',')
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return b
	}
	power := [...]uint64{1: 10, 2: 100, 3: 1000}[decimals]
	scaled := math.Abs(v) * float64(power)
	whole := math.Floor(scaled)
	if rest := scaled - whole; scaled > 1e9 || math.Abs(rest-0.5) < 1e-6 {
		return strconv.AppendFloat(b, v, 'f', decimals, 64)
	} else if rest > 0.5 {
		whole++
	}
	if math.Signbit(v) {
		b = append(b, '-')
	}
	n, p := uint64(whole), power
	b = append(strconv.AppendUint(b, n/p, 10), '.')
	for n %= p; p > 1; n %= p {
		p /= 10
		b = append(b, byte('0'+n/p))
	}
	return b
}
