// Package recording writes and reads the contract's recordings (section 3).
// The reader is the replay source.
package recording
