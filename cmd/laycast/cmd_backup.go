package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"laycast/db"
	"laycast/db/archive"
)

type backupCmd struct {
	File string `arg:"" help:"The file to write; - for the standard output."`
	Firm string `help:"Only this firm, by its uid; without it everything." placeholder:"UID"`
}

// Help shows examples.
func (backupCmd) Help() string {
	return "The file is a tar of JSON lines, described in docs/backup.md. It may be taken while the daemon runs, and is one moment of the database. " +
		"It holds customers' addresses: keep it as you keep the database. The configuration, the link key and files of secrets are not in it; copy them beside it.\n\n" +
		"Examples:\n  laycast backup laycast-2027-05-06.tar\n  laycast backup - --firm saltbox-laminates | gzip >saltbox.tar.gz"
}

// Run writes a backup.
func (c *backupCmd) Run(ctx context.Context, s *session) error {
	d, cfg, err := s.openDatabase(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = d.Close() }()
	if c.File == "-" {
		_, err := d.Backup(ctx, s.Out, c.Firm)
		return err
	}
	var got archive.Contents
	err = writeWhole(c.File, func(w io.Writer) (err error) {
		got, err = d.Backup(ctx, w, c.Firm)
		return err
	})
	if err != nil {
		return err
	}
	s.printf("%s holds %s.\nNot in it: %s, the link key %s and files of secrets. Copy them too.\n", c.File, holding(got), cfg.Path, cfg.LinkKeyFile)
	return nil
}

// openDatabase opens the database alone: no firm is set up in it.
func (s *session) openDatabase(ctx context.Context) (*db.DB, Config, error) {
	cfg, err := LoadConfig(s.configPath, s.Env)
	if err != nil {
		return nil, cfg, err
	}
	d, err := db.Open(ctx, cfg.Database)
	return d, cfg, err
}

// holding sums up what a backup holds.
func holding(c archive.Contents) string {
	rows := int64(0)
	for _, t := range c.Tables {
		rows += t.Rows
	}
	return fmt.Sprintf("%s: %d rows of %d tables, schema %d", strings.Join(c.Firms, ", "), rows, len(c.Tables), c.Schema)
}

// writeWhole writes a new file that only its owner may read, whole or not at all.
func writeWhole(path string, write func(io.Writer) error) (err error) {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already; name another file, so that no older backup is lost", path)
	}
	temp, err := os.CreateTemp(filepath.Dir(path), ".laycast-backup-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = fmt.Errorf("write %s: %w", path, errors.Join(err, os.Remove(temp.Name())))
		}
	}()
	err = write(temp)
	if err = errors.Join(err, temp.Sync(), temp.Close()); err != nil {
		return err
	}
	return os.Rename(temp.Name(), path)
}

type restoreCmd struct {
	File string `arg:"" help:"The file to read; - for the standard input."`
	Firm string `help:"Only this firm of the file, by its uid; without it all of them." placeholder:"UID"`
}

// Help shows examples.
func (restoreCmd) Help() string {
	return "The database that the configuration names may be of either kind, whichever the backup came from. A firm that is in it and was ever used is left alone: restore into an empty database. " +
		"Mails that were sent after the backup was taken may be sent again: see docs/backup.md before an old one is put to work.\n\n" +
		"Examples:\n  laycast restore laycast-2027-05-06.tar\n  LAYCAST_DATABASE=postgres://laycast@host/laycast laycast restore laycast-2027-05-06.tar"
}

// Run reads a backup.
func (c *restoreCmd) Run(ctx context.Context, s *session) error {
	in := s.In
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return fmt.Errorf("read the backup: %w", err)
		}
		defer func() { _ = f.Close() }()
		in = f
	}
	if in == nil {
		return errors.New("there is nothing to read from; name a file")
	}
	d, cfg, err := s.openDatabase(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = d.Close() }()
	got, err := d.Restore(ctx, in, c.Firm)
	if err != nil {
		return err
	}
	s.printf("Restored %s (schema %d).\n", strings.Join(got.Firms, ", "), got.Schema)
	if !slices.Contains(got.Firms, cfg.Firm.UID) {
		s.printf("%s is for the firm %s, which is not among them: set firm.uid there, or restore with the configuration that belongs to the backup.\n", cfg.Path, cfg.Firm.UID)
	}
	return nil
}
