package web

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"laycast/job"
	"laycast/job/access"
	"laycast/job/aslaid"
	"laycast/web/served"
)

// shelf keeps no records and takes everything, and counts it.
type shelf struct{ put int }

func (*shelf) Records(context.Context, string, string) ([]aslaid.Row, error) { return nil, nil }
func (*shelf) OnePicture(context.Context, string, string, string) ([]byte, bool, error) {
	return nil, false, nil
}
func (s *shelf) PutPhoto(context.Context, string, string, job.Date, aslaid.Photo, []byte) error {
	s.put++
	return nil
}
func (*shelf) Drafts(context.Context, string, string) ([]aslaid.Record, error) {
	return []aslaid.Record{{Date: day(13)}}, nil
}
func (s *shelf) HandOver(context.Context, string, string) error { s.put++; return nil }

// everything is a site with every page, its owner signed in, and what counts the
// changes that came through.
func everything(t *testing.T) (site http.Handler, owner string, changes func() int) {
	t.Helper()
	h, b, s, c, l := openHouse(), &bench{}, &shelf{}, &diaryOfDays{}, &list{stopped: map[string]bool{}}
	site, owner, d := benched(t, h, b, func(x *Config) {
		x.Crews, x.Customers, x.Stopper, x.Aslaid = &foreman{h: h}, c, l, &RecordPages{Kept: s, Recorder: s}
	})
	return site, owner, func() int {
		return len(d.did) + len(d.deeds) + len(d.links) + len(b.jobs) + len(b.crews) + len(b.imports) + len(b.did) + s.put + len(c.said) + h.approved + len(h.book.Diary.Reports)
	}
}

// addresses gives the addresses of web, with something in the place of each name.
func addresses(t *testing.T, fill func(name string) string) []served.Address {
	t.Helper()
	all, err := served.Addresses(".")
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 30 {
		t.Fatalf("only %d addresses are found: %v", len(all), all)
	}
	for i, a := range all {
		all[i].Pattern = regexp.MustCompile(`\{([^}]*)\}`).ReplaceAllStringFunc(a.Pattern, func(n string) string { return fill(strings.Trim(n, "{}")) })
	}
	return all
}

// real fills an address with what is there.
func real(name string) string {
	return map[string]string{"id": "A1", "token": strings.TrimPrefix(pageOf(access.Crew, "gull"), "/p/"), "date": "2027-04-13", "$": ""}[name]
}

// TestNoAddressTakesAnythingFromAnotherSite: whatever it is and however the browser
// says so, with the owner's cookie.
func TestNoAddressTakesAnythingFromAnotherSite(t *testing.T) {
	site, owner, changes := everything(t)
	before, posts := changes(), 0
	for _, a := range addresses(t, real) {
		if !a.Post {
			continue
		}
		posts++
		for _, headers := range [][]string{{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "https://evil.example"}, {"Origin", "null"}} {
			body := "job=A1&reason=x&do=pin&day=2027-04-13&crew=gull&seen=0&what=started&date=2027-04-13&email=office@quay.example&List-Unsubscribe=One-Click"
			r := ask(site, http.MethodPost, "https://lay.quay.example"+a.Pattern, strings.NewReader(body), append([]string{"Content-Type", "application/x-www-form-urlencoded", "Cookie", owner}, headers...)...)
			if r.StatusCode != http.StatusForbidden {
				t.Errorf("%s with %v: %d", a.Pattern, headers, r.StatusCode)
			}
		}
	}
	if posts < 20 || changes() != before {
		t.Errorf("%d addresses that take something; %d changes came through", posts, changes()-before)
	}
}

// TestNoAddressTakesAHugeUpload: 100 MB, announced or not, as a form or as a file, is
// refused after a few.
func TestNoAddressTakesAHugeUpload(t *testing.T) {
	site, owner, changes := everything(t)
	before := changes()
	for _, a := range addresses(t, real) {
		for _, kind := range []string{"application/x-www-form-urlencoded", "multipart/form-data; boundary=b"} {
			if !a.Post || a.Pattern == "/" {
				continue
			}
			e := &endless{}
			body := io.MultiReader(strings.NewReader("--b\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a\"\r\n\r\n"), io.LimitReader(e, 100<<20))
			r := ask(site, http.MethodPost, "https://lay.quay.example"+a.Pattern, body, "Content-Type", kind, "Cookie", owner, "Sec-Fetch-Site", "same-origin")
			if e.n > bodyBytes+1<<20 || r.StatusCode >= 500 {
				t.Errorf("%s, %s: %d after %d bytes", a.Pattern, kind, r.StatusCode, e.n)
			}
		}
	}
	if changes() != before {
		t.Errorf("%d changes came through", changes()-before)
	}
}

// TestPathsLeadNowhereElse: what stands in an address is a name and never a path, and
// names that are not there are not there.
func TestPathsLeadNowhereElse(t *testing.T) {
	site, owner, _ := everything(t)
	for _, name := range []string{"..", "../../../../etc/passwd", `..\..\windows`, "/etc/passwd", ".", "%00", "\x00", "\xff\xfe", "C:", strings.Repeat("A", 5000), "'; DROP TABLE jobs; --", "con.eml", "../handler.go"} {
		const here = "HERE"
		for _, a := range addresses(t, func(n string) string { return map[bool]string{true: "", false: here}[n == "$"] }) {
			if !a.Get || !strings.Contains(a.Pattern, here) {
				continue
			}
			a.Pattern = strings.ReplaceAll(a.Pattern, here, url.PathEscape(name))
			r := get(site, a.Pattern, "Cookie", owner)
			body := text(t, r)
			if strings.Contains(body, "root:") || strings.Contains(body, "package web") || r.Header.Get("Location") != "" || r.StatusCode >= 500 || r.StatusCode < 400 && !strings.HasPrefix(a.Pattern, "/sign-in/") {
				t.Errorf("%q: %d to %q, %.80q", a.Pattern, r.StatusCode, r.Header.Get("Location"), body)
			}
		}
	}
}

// TestChangesAreNotSentTooOften: one network gets so many at once, whatever they are.
func TestChangesAreNotSentTooOften(t *testing.T) {
	h, d := openHouse(), &desk{}
	site, owner, _ := insideOf(t, h, d)
	last := 0
	for i := range postsBurst + 1 {
		last = send(site, "/week/release", url.Values{"job": {fmt.Sprint("A", i)}}, "Cookie", owner).StatusCode
		if last == http.StatusTooManyRequests {
			break
		}
	}
	done := len(d.did)
	if last != http.StatusTooManyRequests || done == 0 || done > postsBurst {
		t.Fatalf("%d after %d changes", last, done)
	}
	h.clock.set(h.clock.Now().Add(postsEvery))
	if r := send(site, "/week/release", url.Values{"job": {"A1"}}, "Cookie", owner); r.StatusCode != http.StatusSeeOther || len(d.did) != done+1 {
		t.Errorf("after a while: %d", r.StatusCode)
	}
}
