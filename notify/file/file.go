// Package file delivers messages as files in a directory, one mail a file, for
// rehearsals, demonstrations and tests. Delivering a message twice is the same
// as delivering it once.
package file

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"laycast/notify"
)

// Transport writes each message to a file of its own in Dir, which it makes if
// need be.
type Transport struct{ Dir string }

// Name gives the file name of a message: made from its Message-ID alone.
func Name(messageID string) string {
	sum := sha256.Sum256([]byte(messageID))
	return hex.EncodeToString(sum[:])[:32] + ".eml"
}

// Deliver writes the message's exact bytes. When it returns nil they are on the
// disk under their final name, whole; a reader never sees a part. A file that
// is there already with the same bytes is a message already delivered; one with
// other bytes is an error, for a Message-ID stands for one text for ever.
func (t Transport) Deliver(ctx context.Context, m notify.Message) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("write mail %s: %w", m.MessageID, err)
	}
	if m.MessageID == "" || len(m.Wire) == 0 {
		return fmt.Errorf("write mail for %q: it has no Message-ID or no text", m.Recipient)
	}
	if err := os.MkdirAll(t.Dir, 0o755); err != nil {
		return fmt.Errorf("make the mail directory: %w", err)
	}
	final := filepath.Join(t.Dir, Name(m.MessageID))
	old, err := os.ReadFile(final)
	switch {
	case err == nil && bytes.Equal(old, m.Wire):
		// The run that wrote it may have died before the directory was synced.
		return t.syncDir()
	case err == nil:
		return fmt.Errorf("write mail %s: %s holds another text; remove it or use another directory", m.MessageID, final)
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("look for mail %s: %w", m.MessageID, err)
	}
	return t.write(final, m)
}

// write puts the bytes under a temporary name, then renames. The temporary name
// follows from the final one, so what a killed run left is overwritten.
func (t Transport) write(final string, m notify.Message) error {
	temp := final + ".part"
	if err := writeSynced(temp, m.Wire); err != nil {
		return errors.Join(fmt.Errorf("write mail %s: %w", m.MessageID, err), ignoreMissing(os.Remove(temp)))
	}
	if err := os.Rename(temp, final); err != nil {
		return errors.Join(fmt.Errorf("put mail %s in its place: %w", m.MessageID, err), ignoreMissing(os.Remove(temp)))
	}
	return t.syncDir()
}

func writeSynced(path string, b []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return err
	}
	if _, err := f.Write(b); err != nil {
		return errors.Join(err, f.Close())
	}
	if err := f.Sync(); err != nil {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}

func (t Transport) syncDir() error {
	d, err := os.Open(t.Dir)
	if err != nil {
		return fmt.Errorf("open the mail directory: %w", err)
	}
	if err := d.Sync(); err != nil {
		return errors.Join(fmt.Errorf("sync the mail directory: %w", err), d.Close())
	}
	return d.Close()
}

func ignoreMissing(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
