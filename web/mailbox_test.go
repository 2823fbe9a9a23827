package web

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const twoParts = "From: Quay <office@quay.example>\r\nTo: ann@mail.example\r\nSubject: =?utf-8?q?Gr=C3=B6=C3=9Fe?=\r\n" +
	"Date: Mon, 12 Apr 2027 18:00:00 +0100\r\nMIME-Version: 1.0\r\nContent-Type: multipart/alternative; boundary=x\r\n\r\n" +
	"--x\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n" +
	"We come <soon>=21 See https://lay.quay.example/f/abc.ics.\r\n" +
	"--x\r\nContent-Type: multipart/related; boundary=y\r\n\r\n--y\r\nContent-Type: text/html; charset=utf-8\r\n\r\n<p onclick=\"x()\">We <img src=\"cid:pic@quay\"></p>\r\n" +
	"--y\r\nContent-Type: image/png\r\nContent-ID: <pic@quay>\r\nContent-Transfer-Encoding: base64\r\n\r\niVBORw==\r\n--y--\r\n--x--\r\n"

func mailDir(t *testing.T, mails map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range mails {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestMailCatcher(t *testing.T) {
	h := openHouse()
	dir := mailDir(t, map[string]string{
		"aa.eml": twoParts, "bb.eml": "Subject: Newer <b>\r\nTo: x@y.example\r\nDate: Tue, 13 Apr 2027 05:30:00 +0100\r\n\r\nplain\r\n",
		"cc.eml.part": twoParts, "secret.txt": "secret", "dd.eml": "no header at all",
	})
	outside := filepath.Join(t.TempDir(), "outside.eml")
	if err := os.WriteFile(outside, []byte(twoParts), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(outside, filepath.Join(dir, "ee.eml")); err != nil {
		t.Fatal(err)
	}
	site := h.handler(t, func(c *Config) { c.Demo = &DemoPages{Firm: uid, MailDir: dir} })
	list := text(t, get(site, "/mail"))
	wants(t, "the list", list, "/mail/aa.eml", "Größe", "Newer &lt;b&gt;", "(cannot be read)", "invented")
	hides(t, "the list", list, "secret", ".part", "ee.eml")
	if strings.Index(list, "bb.eml") > strings.Index(list, "aa.eml") {
		t.Error("the newest does not come first")
	}
	r := get(site, "/mail/aa.eml")
	one := text(t, r)
	wants(t, "the mail", one, "Größe", "We come &lt;soon&gt;!", `<a href="https://lay.quay.example/f/abc.ics">`, `<iframe sandbox title`, `src="/mail/aa.eml/html"`, "image/png, 4 bytes")
	hides(t, "the mail", one, "onclick")
	wants(t, "its policy", r.Header.Get("Content-Security-Policy"), "frame-src 'self'", "default-src 'none'")
	r = get(site, "/mail/aa.eml/html")
	wants(t, "the frame", text(t, r), `src="data:image/png;base64,iVBORw=="`)
	csp := r.Header.Get("Content-Security-Policy")
	if !strings.HasPrefix(csp, "sandbox; default-src 'none'") || strings.Contains(csp, "allow-") || strings.Contains(csp, "script") {
		t.Errorf("the frame's policy is %q", csp)
	}
	for _, path := range []string{"/mail/bb.eml/html", "/mail/zz.eml", "/mail/secret.txt", "/mail/..%2fsecret.eml", "/mail/cc.eml.part", "/mail/.eml"} {
		if r := get(site, path); r.StatusCode != 404 {
			t.Errorf("%s: %d", path, r.StatusCode)
		}
	}
	if r := get(site, "/mail/ee.eml"); r.StatusCode == 200 {
		t.Error("a link leads out of the folder")
	}
	wants(t, "the demo's week", text(t, get(site, "/week")), "Porch A1", "Quay &amp; Roofs")
	empty := h.handler(t, func(c *Config) { c.Demo = &DemoPages{Firm: uid, MailDir: filepath.Join(dir, "none")} })
	wants(t, "no folder", text(t, get(empty, "/mail")), "There is none yet")
}

func TestDemoPagesAreForTheDemo(t *testing.T) {
	site := openHouse().handler(t)
	for _, path := range []string{"/week", "/mail", "/mail/aa.eml", "/mail/aa.eml/html"} {
		if r := get(site, path); r.StatusCode != 404 {
			t.Errorf("%s: %d", path, r.StatusCode)
		}
	}
}

func TestLinksInText(t *testing.T) {
	for in, want := range map[string]string{
		"see http://a.example/x.ics, and (https://b.example).": "http://a.example/x.ics https://b.example",
		"javascript://x ftp://y":                               "", "https://a.example/\"><script>": "https://a.example/",
	} {
		var got []string
		whole := ""
		for _, s := range linked(in) {
			whole += s.Text
			if s.Link {
				got = append(got, s.Text)
			}
		}
		if strings.Join(got, " ") != want || whole != in {
			t.Errorf("%q: links %q, all %q", in, got, whole)
		}
	}
}

func FuzzReadMail(f *testing.F) {
	f.Add([]byte(twoParts))
	f.Add([]byte("Content-Type: multipart/mixed; boundary=a\r\n\r\n--a\r\nContent-Type: multipart/mixed; boundary=a\r\n\r\n--a\r\n\r\nx\r\n--a--\r\n--a--"))
	f.Add([]byte("Content-Transfer-Encoding: base64\r\n\r\n!!"))
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := readMail(b)
		if err != nil {
			return
		}
		if len(e.Parts) > emlParts {
			t.Errorf("%d parts", len(e.Parts))
		}
		whole := ""
		for _, s := range linked(e.Text) {
			whole += s.Text
			if s.Link && !strings.HasPrefix(s.Text, "http") {
				t.Errorf("%q is no link", s.Text)
			}
		}
		if whole != e.Text {
			t.Error("linking lost text")
		}
	})
}
