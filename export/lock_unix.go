//go:build unix

package export

import (
	"errors"
	"io"
	"os"
	"syscall"
)

// lockDir takes the lock on a folder, which the system drops when the process
// that holds it ends, however it ends. free is false if another process, or
// another open Stage of this one, holds it.
func lockDir(dir string) (lock io.Closer, free bool, err error) {
	f, err := os.Open(dir)
	if err != nil {
		return nil, false, err
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, false, f.Close()
	}
	// A file system without locks: there, leftovers are taken for ours to clean.
	return f, true, nil
}
