package main

import (
	"context"
	"errors"
	"strings"
	"testing"

	"laycast/job/access"
)

func TestLogNamesNobodyInFull(t *testing.T) {
	t.Parallel()
	var out safeBuffer
	log := (&session{world: world{Err: &out}}).logger(true)
	key := make([]byte, access.KeyBytes)
	page := access.Path(key, access.New(key, "f", access.Customer, "ann@mail.example", access.Page, 1, realClock{}.Now()))
	feed := access.Path(key, access.New(key, "f", access.Crew, "gull", access.Feed, 1, realClock{}.Now()))
	log.Error().Err(errors.New("550 5.1.1 <ann.o'neil+roof@mail.example>: no such user")).Str("person", "Zoë.Quay@mail.example").
		Str("job", "Q-01").Msg("message failed; see https://quay.example" + page + " and " + feed + ", " + access.SignInPath + "ABCDEFGHIJKLMNOPQRSTUVWXYZ")
	got := out.String()
	for _, w := range []string{"ann.o", "neil", "Quay@", "roof@", page, feed, strings.TrimSuffix(feed, ".ics"), "ABCDEFGHIJ"} {
		if strings.Contains(got, w) {
			t.Errorf("%q stands in the log\n%s", w, got)
		}
	}
	for _, w := range []string{"a...@mail.example", "Z...@mail.example", "/p/...", "/f/...", "/sign-in/...", "550 5.1.1", `"job":"Q-01"`, "no such user"} {
		if !strings.Contains(got, w) {
			t.Errorf("the log says\n%s\nwithout %q", got, w)
		}
	}
}

// A whole log of some days, with a mail server that quotes the address that it
// refuses, tells of no person and no link.
func TestLogOfDaysNamesNobody(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(2, "2027-05-04"))
	box := newLetterbox(t)
	box.bad = "customer1@mail.example"
	code, _, log := o.run(context.Background(), "rehearse", "--verbose", "--from", "2027-05-03T00:00:00Z", "--to", "2027-05-05T19:00:00Z", "--smtp", box.url)
	if code != exitOK || strings.Count(log, "\n") < 50 || !strings.Contains(log, "message settled") {
		t.Fatalf("exit %d; a log of %d lines", code, strings.Count(log, "\n"))
	}
	if !strings.Contains(log, "c...@mail.example") {
		t.Error("the server's answer is not in the log, so this test shows little")
	}
	for _, person := range []string{"customer1@", "customer2@", "gull@", "tern@", "office@"} {
		if strings.Contains(strings.ToLower(log), person) {
			t.Errorf("%s stands in the log", person)
		}
	}
	links := 0
	for _, row := range decode[[]linkRow](t, o.must("link", "list", "--json")) {
		if token := access.FromPath(row.URL); token != "" {
			if links++; strings.Contains(log, token) {
				t.Errorf("the %s link stands in the log", row.Purpose)
			}
		}
	}
	if links == 0 {
		t.Error("there are no links to look for")
	}
}
