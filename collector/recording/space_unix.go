//go:build linux || darwin

package recording

import "syscall"

// diskSpace returns the bytes of dir's file system that are free to this user, and
// all of them; known is false where it has no answer.
func diskSpace(dir string) (free, total int64, known bool) {
	var s syscall.Statfs_t
	if syscall.Statfs(dir, &s) != nil {
		return 0, 0, false
	}
	block := int64(s.Bsize)
	return int64(s.Bavail) * block, int64(s.Blocks) * block, s.Blocks > 0
}
