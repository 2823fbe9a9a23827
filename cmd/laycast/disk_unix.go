//go:build linux || darwin || freebsd

package main

import "syscall"

// freeBytes gives the room that is left for an ordinary user where a folder
// lies. ok is false where that cannot be found out.
func freeBytes(folder string) (free uint64, ok bool, err error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(folder, &st); err != nil {
		return 0, true, err
	}
	return uint64(st.Bavail) * uint64(st.Bsize), true, nil
}
