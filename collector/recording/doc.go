// Package recording reads and writes recordings: CSV files with a time column
// and one column for each input, as the contract's section 3 describes. The
// reader is the source of replay, the recorder keeps what the daemon read;
// what one writes, the other reads back to the last bit.
//
// It may import analyze/reading, analyze/units and the standard library. No
// clock is read: time comes from the rows.
package recording
