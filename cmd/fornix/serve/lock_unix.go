//go:build unix

package serve

import (
	"os"
	"syscall"
)

// lock takes the file for this process alone; it is free again when the process ends, however it ends.
func lock(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) }
