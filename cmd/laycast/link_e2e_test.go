package main

import (
	"bytes"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"laycast/job"
	"laycast/job/access"
)

// local gives the path of a link, to be asked of the listening address.
func local(t testing.TB, addr, url string) string {
	t.Helper()
	path, ok := strings.CutPrefix(url, "http://quay.example")
	if !ok {
		t.Fatalf("%q does not begin with the public address", url)
	}
	return "http://" + addr + path
}

func fetch(t testing.TB, url string) (int, string) {
	t.Helper()
	resp, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(b)
}

func (o *office) newLink(args ...string) linkOut {
	o.t.Helper()
	return decode[linkOut](o.t, o.must(append([]string{"link", "new", "--json"}, args...)...))
}

func TestLinksOpenAndAreRevoked(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(2, "2027-05-03"))
	feed := o.newLink("--customer", "Customer1@Mail.example", "--feed")
	page := o.newLink("--customer", "customer1@mail.example")
	crew := o.newLink("--crew", "gull")
	if again := o.newLink("--customer", "customer1@mail.example", "--feed"); again != feed {
		t.Errorf("asked again: %+v, not %+v", again, feed)
	}
	if feed.Webcal != "webcal"+strings.TrimPrefix(feed.URL, "http") || page.Webcal != "" || page.URL == feed.URL {
		t.Errorf("%+v and %+v", feed, page)
	}
	if info, err := os.Stat(filepath.Join(o.dir, "laycast.key")); err != nil || info.Mode().Perm() != 0o600 || info.Size() != access.KeyBytes {
		t.Errorf("the key: %v, %v", info, err)
	}
	addr, _ := o.serve("--pretend-now", "2027-05-05T12:00:00Z", "--mail-dir", o.mail)
	if code, body := fetch(t, local(t, addr, feed.URL)); code != 200 || !strings.HasPrefix(body, "BEGIN:VCALENDAR\r\n") || !strings.Contains(body, "BEGIN:VTIMEZONE") {
		t.Errorf("the feed: %d\n%s", code, body)
	}
	if code, body := fetch(t, local(t, addr, page.URL)); code != 200 || !strings.Contains(body, feed.URL) || strings.Contains(body, "Customer 2") {
		t.Errorf("the page: %d\n%s", code, body)
	}
	if code, body := fetch(t, local(t, addr, crew.URL)); code != 200 || !strings.Contains(body, "Gull") {
		t.Errorf("the crew's page: %d\n%s", code, body)
	}
	rows := decode[[]linkRow](t, o.must("link", "list", "--json"))
	if len(rows) != 4 { // each page brings its calendar
		t.Errorf("listed are %+v", rows)
	}
	next := decode[linkOut](t, o.must("link", "revoke", "--json", feed.URL))
	if code, _ := fetch(t, local(t, addr, feed.URL)); code != 404 {
		t.Errorf("the revoked feed: %d", code)
	}
	if code, _ := fetch(t, local(t, addr, next.URL)); code != 200 || next != o.newLink("--customer", "customer1@mail.example", "--feed") {
		t.Errorf("the next feed: %d", code)
	}
	o.fails(exitFail, []string{"opens nothing"}, "link", "revoke", feed.URL)
	o.fails(exitUsage, []string{"no secret link"}, "link", "revoke", "http://quay.example/")
}

func TestLinksAreForPeopleOfTheFirm(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.fails(exitFail, []string{"no crew", "import"}, "link", "new", "--crew", "gull")
	if out := o.must("link", "list"); !strings.Contains(out, "no links yet") {
		t.Errorf("an empty list: %s", out)
	}
	o.takeIn(bookOf(1, "2027-05-03"))
	o.fails(exitFail, []string{`no crew "owl"`, "gull, tern"}, "link", "new", "--crew", "owl")
	o.fails(exitFail, []string{"no job has a customer", "nobody@mail.example"}, "link", "new", "--customer", "nobody@mail.example")
	o.fails(exitFail, []string{"no job has a customer"}, "link", "new", "--customer", "")
	for _, args := range [][]string{{}, {"--owner", "--crew", "gull"}, {"--feed"}} {
		o.fails(exitUsage, nil, append([]string{"link", "new"}, args...)...)
	}
	if rows := decode[[]linkRow](t, o.must("link", "list", "--json")); len(rows) != 0 {
		t.Errorf("refused ones were kept: %+v", rows)
	}
	if out := o.must("link", "new", "--owner", "--feed"); !strings.Contains(out, "http://quay.example/f/") || !strings.Contains(out, "webcal://quay.example/f/") {
		t.Errorf("the owner's: %s", out)
	}
}

func TestLinkKeyIsGuarded(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "link_key_file: keys/mine\n")
	path := filepath.Join(o.dir, "keys", "mine")
	o.fails(exitFail, []string{"link key", "keys"}, "link", "new", "--owner") // no such folder
	if err := os.Mkdir(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	first := o.newLink("--owner")
	if again := o.newLink("--owner"); again != first {
		t.Errorf("%+v, then %+v", first, again)
	}
	if left, err := filepath.Glob(filepath.Join(o.dir, "keys", ".laycast-key-*")); err != nil || len(left) > 0 {
		t.Errorf("left over: %v, %v", left, err)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	o.fails(exitFail, []string{"can be read by others", "chmod 600"}, "link", "new", "--owner")
	o.fails(exitFail, []string{"can be read by others"}, "serve", "--mail-dir", o.mail)
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	o.write("keys/mine", "short")
	o.fails(exitFail, []string{"exactly 32 bytes"}, "link", "list")
	// another key: links from before cannot be shown, but they can be replaced
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if out := o.must("link", "list"); !strings.Contains(out, "another link key") {
		t.Errorf("listed with another key:\n%s", out)
	}
	code, out, errs := o.run(t.Context(), "link", "new", "--owner", "--json")
	if code != exitOK || !strings.Contains(errs, "another link key") || decode[linkOut](t, out) == first {
		t.Errorf("%d %s %s", code, out, errs)
	}
}

func TestLinkKeyIsMadeOnce(t *testing.T) {
	t.Parallel()
	h := &house{cfg: Config{LinkKeyFile: filepath.Join(t.TempDir(), "k")}, firm: job.Firm{}}
	keys := make([][]byte, 8)
	var wg sync.WaitGroup
	for i := range keys {
		wg.Go(func() {
			k, err := h.links()
			if err != nil {
				t.Error(err)
			}
			keys[i] = k
		})
	}
	wg.Wait()
	for _, k := range keys {
		if len(k) != access.KeyBytes || !bytes.Equal(k, keys[0]) {
			t.Fatalf("keys %x and %x", keys[0], k)
		}
	}
}

func TestLinkKeyFileInTheConfiguration(t *testing.T) {
	text := "firm: {name: A, zone: Europe/Dublin, email: a@b.example}\nsource: {kind: replay}\n"
	none := func(string) ([]byte, error) { return nil, fs.ErrNotExist }
	for _, c := range []struct{ more, env, want string }{
		{"", "", "etc/laycast.key"}, {"link_key_file: /var/k\n", "", "/var/k"}, {"link_key_file: a/k\n", "", "etc/a/k"},
		{"link_key_file: a/k\n", "/run/k", "/run/k"},
	} {
		env := func(name string) string {
			if name == "LAYCAST_LINK_KEY_FILE" {
				return c.env
			}
			return ""
		}
		cfg, err := parseConfig("etc/laycast.yaml", []byte(text+c.more), env, none)
		if err != nil || cfg.LinkKeyFile != filepath.FromSlash(c.want) {
			t.Errorf("%q with %q: %q, %v", c.more, c.env, cfg.LinkKeyFile, err)
		}
	}
	_, err := parseConfig("laycast.yaml", []byte(text+"link_key_file: keys/\nlistn: x\n"), nil, none)
	if err == nil || !strings.Contains(err.Error(), "link_key_file: names no file") || !strings.Contains(err.Error(), "listn") {
		t.Errorf("a folder: %v", err)
	}
}
