package browser

import (
	"path/filepath"
	"slices"
	"testing"

	"laycast/web/served"
)

// looked gives, for each address that answers with a page, the names under which
// pages looks at it.
func looked() map[string][]string {
	return map[string][]string{
		"/{$}": {"front", "home"}, "/sign-in/{token}": {"sign-in", "sign-in-dead"},
		"/p/{token}": {"crew", "customer", "owner-link"}, "/p/{token}/other": {"other-day"},
		"/y/{token}": {"approve"}, "/n/{token}": {"stop"},
		"/week": {"week", "refusal"}, "/jobs": {"jobs"}, "/job/{id}": {"job"}, "/job/{id}/why": {"why"}, "/job/{id}/record": {"record", "record-none"},
		"/jobs/new": {"job-new"}, "/job/{id}/edit": {"job-edit", "job-edit-wrong", "job-edit-stale"}, "/jobs/import": {"import", "import-preview", "import-bad"},
		"/crews": {"crews"}, "/crews/edit": {"crew-edit", "crew-new"}, "/log": {"log"}, "/log/message/{id}": {"message"}, "/reliability": {"reliability"},
		"/settings": {"settings", "settings-wrong"}, "/settings/limits": {"limits"}, "/links": {"links"},
		"/mail": {"mails"}, "/mail/{file}": {"mail"},
	}
}

// unlooked gives the addresses that answer with something else, and what.
func unlooked() map[string]string {
	return map[string]string{
		"/healthz": "JSON for programs", "/readyz": "a line for programs", "/static/{file}": "the style sheet", "/f/{file}": "a calendar",
		"/jobs.csv": "a file", "/job/{id}/record/pdf/{date}": "a PDF", "/job/{id}/record/photo/{photo}": "a photo",
		"/mail/{file}/html": "a mail as it was sent: its pictures are those of make mail-screens",
		"/":                 "one line of text, for what is not there",
	}
}

// TestEveryPageIsLookedAt: an address that answers to GET is among those of which
// pictures are made and that the checker of accessibility sees, or it is named why
// not.
func TestEveryPageIsLookedAt(t *testing.T) {
	all, err := served.Addresses(filepath.Join("..", "..", "..", "web"))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, a := range all {
		if a.Get {
			got = append(got, a.Pattern)
		}
	}
	in, out := looked(), unlooked()
	for _, r := range got {
		_, a := in[r]
		_, b := out[r]
		if a == b {
			t.Errorf("%s is to stand in one of the two lists, looked (with pages opening it) and unlooked", r)
		}
	}
	for r := range in {
		if !slices.Contains(got, r) {
			t.Errorf("looked names %s, which web does not serve", r)
		}
	}
	for r := range out {
		if !slices.Contains(got, r) {
			t.Errorf("unlooked names %s, which web does not serve", r)
		}
	}
}
