//go:build !unix || solaris || illumos || aix

package db

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// lockFile takes path for this process alone by creating it. Where there is no
// flock this is the best there is: after a kill the file stays and has to be
// removed by hand, which the error says.
func lockFile(path string) (*os.File, error) {
	f, err := openLock(path, os.O_EXCL)
	if errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("%s is there: another laycast runs, or one was killed and the file may be removed", path)
	}
	return f, err
}

// unlockFile gives the lock back.
func unlockFile(f *os.File) error {
	return errors.Join(f.Close(), os.Remove(f.Name()))
}
