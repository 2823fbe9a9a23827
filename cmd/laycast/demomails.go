package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"laycast/notify"
	"laycast/web"
)

// mailPages writes three of the story's mails as web pages, the newest of each
// kind: what `make mail-screens` makes pictures of. Without a folder it does
// nothing.
func (s *session) mailPages(ctx context.Context, h *house, dir string) error {
	if dir == "" {
		return nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make the folder %s: %w", dir, err)
	}
	ms, err := h.db.Messages(ctx, h.firm.UID)
	if err != nil {
		return err
	}
	for _, w := range []struct {
		name string
		is   func(notify.Message) bool
	}{
		{"crew-go", func(m notify.Message) bool { return m.Kind == notify.KindCall && strings.HasPrefix(m.Subject, "GO ") }},
		{"crew-no-go", func(m notify.Message) bool {
			return m.Kind == notify.KindCall && strings.HasPrefix(m.Subject, "NO-GO ")
		}},
		{"customer-moved", func(m notify.Message) bool { return m.Kind == notify.KindDateMoved }},
	} {
		var newest *notify.Message
		for i := range ms {
			if m := &ms[i]; w.is(*m) && (newest == nil || m.Created.After(newest.Created)) {
				newest = m
			}
		}
		if newest == nil {
			return fmt.Errorf("the story has no mail %s", w.name)
		}
		m, err := h.db.Message(ctx, h.firm.UID, newest.ID)
		if err != nil {
			return err
		}
		page, err := web.HTML(m.Wire)
		if err != nil {
			return fmt.Errorf("take the mail %s apart: %w", m.ID, err)
		}
		file := filepath.Join(dir, w.name+".html")
		if err := os.WriteFile(file, []byte(page), 0o644); err != nil {
			return fmt.Errorf("write the page of a mail: %w", err)
		}
		s.printf("%s: %s\n", file, newest.Subject)
	}
	return nil
}
