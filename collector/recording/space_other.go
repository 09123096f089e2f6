//go:build !linux && !darwin

package recording

// diskSpace has no answer here: recordings are bounded by their own limit alone.
func diskSpace(string) (free, total int64, known bool) { return 0, 0, false }
