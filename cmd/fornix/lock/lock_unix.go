//go:build unix

// Package lock keeps a file for one process, so that a folder is not written by two at once.
package lock

import (
	"os"
	"syscall"
)

// Take takes the file for this process alone; it is free again when the process ends, however it ends.
func Take(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) }
