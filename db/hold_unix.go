//go:build unix && !solaris && !illumos && !aix

package db

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// lockFile takes path for this process alone; the kernel frees it when the
// process ends. The file itself stays: removing it would let two processes
// lock two files of one name.
func lockFile(path string) (*os.File, error) {
	f, err := openLock(path, 0)
	if err != nil {
		return nil, err
	}
	err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		err = errHeld
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", path, err), f.Close())
	}
	return f, nil
}

// unlockFile gives the lock back.
func unlockFile(f *os.File) error { return f.Close() }
