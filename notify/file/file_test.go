package file_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"laycast/notify"
	"laycast/notify/file"
)

func message(id, text string) notify.Message {
	return notify.Message{MessageID: id, Wire: []byte(text)}
}

func TestDeliver(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out", "mail")
	tr := file.Transport{Dir: dir}
	wire := "Subject: a\r\n\r\n.\r\n..dots stay as they are\r\n"
	for range 3 {
		if err := tr.Deliver(context.Background(), message("a@saltbox.example", wire)); err != nil {
			t.Fatal(err)
		}
	}
	if err := tr.Deliver(context.Background(), message("b@saltbox.example", wire)); err != nil {
		t.Fatal(err)
	}
	es, err := os.ReadDir(dir)
	if err != nil || len(es) != 2 {
		t.Fatalf("%d files, %v; want one a message", len(es), err)
	}
	// sha256("a@saltbox.example"), from coreutils' sha256sum
	const want = "34babd7f963b98d64c2e806a36804465.eml"
	got, err := os.ReadFile(filepath.Join(dir, want))
	if err != nil || !bytes.Equal(got, []byte(wire)) {
		t.Errorf("%s holds %q, %v", want, got, err)
	}
}

func TestLeftoverOfAKilledRun(t *testing.T) {
	dir := t.TempDir()
	id := "a@saltbox.example"
	part := filepath.Join(dir, file.Name(id)+".part")
	if err := os.WriteFile(part, []byte("half of a mail, longer than the whole one"), 0o600); err != nil {
		t.Fatal(err)
	}
	if strings.HasSuffix(part, ".eml") {
		t.Fatal("a half-written file looks like a mail")
	}
	if err := (file.Transport{Dir: dir}).Deliver(context.Background(), message(id, "whole")); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(filepath.Join(dir, file.Name(id)))
	if err != nil || string(got) != "whole" {
		t.Errorf("%q, %v", got, err)
	}
	if _, err := os.Stat(part); !os.IsNotExist(err) {
		t.Errorf("the leftover is still there: %v", err)
	}
}

func TestRefuses(t *testing.T) {
	dir := t.TempDir()
	tr := file.Transport{Dir: dir}
	id := "a@saltbox.example"
	if err := tr.Deliver(context.Background(), message(id, "one")); err != nil {
		t.Fatal(err)
	}
	if err := tr.Deliver(context.Background(), message(id, "two")); err == nil || !strings.Contains(err.Error(), "another text") {
		t.Errorf("another text under the same id: %v", err)
	}
	if got, err := os.ReadFile(filepath.Join(dir, file.Name(id))); err != nil || string(got) != "one" {
		t.Errorf("the first mail became %q, %v", got, err)
	}
	if err := tr.Deliver(context.Background(), message("", "x")); err == nil {
		t.Error("a message without an id was written")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := tr.Deliver(ctx, message("b@saltbox.example", "x")); err == nil {
		t.Error("delivered after the context ended")
	}
	blocked := file.Transport{Dir: filepath.Join(dir, file.Name(id))}
	if err := blocked.Deliver(context.Background(), message("b@saltbox.example", "x")); err == nil {
		t.Error("a file was taken for a directory")
	}
}
