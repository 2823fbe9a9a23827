package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"laycast/job/access"
)

// defaultLinkKey is the file of the link key beside the configuration.
const defaultLinkKey = "laycast.key"

func checkLinkKeyFile(v string) error {
	if base := filepath.Base(v); base == "." || base == ".." || v[len(v)-1] == '/' {
		return errors.New("names no file; write laycast.key")
	}
	return nil
}

// linkKeyPath gives where the link key lies: a relative path counts from the
// configuration's folder.
func (l *configLoader) linkKeyPath(root *yamlSection) string {
	path := l.topText(root, "link_key_file", defaultLinkKey, checkLinkKeyFile)
	if !filepath.IsAbs(path) {
		path = filepath.Join(l.dir, path)
	}
	return path
}

// links gives the key behind all secret links, and makes it on first use.
func (h *house) links() ([]byte, error) {
	if h.cfg.LinkKeyFile == "" {
		return nil, errors.New("no file is set for the link key; set link_key_file in the configuration")
	}
	key, err := readLinkKey(h.cfg.LinkKeyFile)
	if !errors.Is(err, fs.ErrNotExist) {
		return key, err
	}
	if err := makeLinkKey(h.cfg.LinkKeyFile); err != nil {
		return nil, err
	}
	return readLinkKey(h.cfg.LinkKeyFile)
}

// readLinkKey reads a link key, and refuses one that others may read.
func readLinkKey(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read the link key: %w", err)
	}
	defer func() { _ = f.Close() }()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("read the link key: %w", err)
	}
	// Windows has no such modes
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("the link key %s can be read by others (mode %04o), who could then open every secret link; forbid it with: chmod 600 %s", path, info.Mode().Perm(), path)
	}
	b, err := io.ReadAll(io.LimitReader(f, access.KeyBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read the link key: %w", err)
	}
	if len(b) != access.KeyBytes {
		return nil, fmt.Errorf("the link key %s must have exactly %d bytes; restore it from a backup, or move it away to have a new one made (links given out before keep working, but can no longer be shown)", path, access.KeyBytes)
	}
	return b, nil
}

// makeLinkKey writes a new key under its name whole or not at all; where another
// process was first, its key stands.
func makeLinkKey(path string) error {
	key := make([]byte, access.KeyBytes)
	_, _ = rand.Read(key) // never fails: it ends the program where the system gives no randomness
	temp, err := os.CreateTemp(filepath.Dir(path), ".laycast-key-*")
	if err != nil {
		return fmt.Errorf("make the link key: %w", err)
	}
	defer func() { _ = os.Remove(temp.Name()) }()
	// CreateTemp makes files that only their owner may read
	_, err = temp.Write(key)
	if err = errors.Join(err, temp.Sync(), temp.Close()); err != nil {
		return fmt.Errorf("make the link key: %w", err)
	}
	if err := os.Link(temp.Name(), path); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("make the link key: %w", err)
	}
	return nil
}
