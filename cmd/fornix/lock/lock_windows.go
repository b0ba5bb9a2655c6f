package lock

import (
	"os"

	"golang.org/x/sys/windows"
)

// Take takes the file for this process alone; it is free again when the process ends, however it ends.
// What is locked lies behind the file's end, so that others can still read it.
func Take(f *os.File) error {
	at := windows.Overlapped{Offset: 1 << 30}
	return windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
}
