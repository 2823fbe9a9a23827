package web

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/netip"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
)

// lobby keeps sign-in links and sessions in memory, as the database does.
type lobby struct {
	mu       sync.Mutex
	asks     map[string]access.SignIn // by hash
	used     map[string]bool
	mails    []notify.Message
	sessions map[string]string // by hash
	broken   error
}

func newLobby() *lobby {
	return &lobby{asks: map[string]access.SignIn{}, used: map[string]bool{}, sessions: map[string]string{}}
}

func (l *lobby) AskSignIn(_ context.Context, a access.SignIn, mail []notify.Message) (bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.asks[a.Hash] = a
	if a.Known {
		l.mails = append(l.mails, mail...)
	}
	return true, l.broken
}

func (l *lobby) SignInOpen(_ context.Context, uid, hash string, now time.Time) (bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	a, ok := l.asks[hash]
	return ok && a.Firm == uid && a.Known && !l.used[hash] && a.Expires.After(now), l.broken
}

func (l *lobby) UseSignIn(ctx context.Context, uid, hash string, now time.Time) (string, bool, error) {
	ok, err := l.SignInOpen(ctx, uid, hash, now)
	if !ok || err != nil {
		return "", false, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.used[hash] = true
	return l.asks[hash].Person, true, nil
}

func (l *lobby) Session(_ context.Context, uid, hash string, _ time.Time) ([]byte, bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	b, ok := l.sessions[uid+" "+hash]
	return []byte(b), ok, l.broken
}

func (l *lobby) PutSession(_ context.Context, uid, hash string, b []byte, _ time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.sessions[uid+" "+hash] = string(b)
	return l.broken
}

func (l *lobby) EndSession(_ context.Context, uid, hash string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.sessions, uid+" "+hash)
	return l.broken
}

// office gives the pages of a house with a sign-in.
func (h *house) office(t testing.TB, l *lobby, change ...func(*Config)) http.Handler {
	t.Helper()
	letter := func(f job.Firm, s notify.SignInLetter) (notify.Message, error) {
		c, err := notify.NewComposer(notify.ComposerConfig{Firm: f, From: "Quay <office@quay.example>"})
		if err != nil {
			return notify.Message{}, err
		}
		return c.SignIn(s)
	}
	all := append([]func(*Config){func(c *Config) {
		c.Office = &OfficePages{Firm: uid, Doors: l, Sessions: l, Letter: letter}
	}}, change...)
	return h.handler(t, all...)
}

// send posts a form as a browser does from a page of ours.
func send(h http.Handler, path string, form url.Values, headers ...string) *http.Response {
	return ask(h, http.MethodPost, "https://lay.quay.example"+path, strings.NewReader(form.Encode()),
		append([]string{"Content-Type", "application/x-www-form-urlencoded", "Origin", "https://lay.quay.example", "Sec-Fetch-Site", "same-origin"}, headers...)...)
}

var mailedLink = regexp.MustCompile(`https://lay\.quay\.example(/sign-in/[A-Z2-7]{26})`)

// linkIn gives the path of the sign-in link of the newest mail.
func (l *lobby) linkIn(t testing.TB) string {
	t.Helper()
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.mails) == 0 {
		t.Fatal("no mail")
	}
	plain, err := PlainText(l.mails[len(l.mails)-1].Wire)
	if err != nil {
		t.Fatal(err)
	}
	m := mailedLink.FindStringSubmatch(plain)
	if m == nil {
		t.Fatalf("no link in\n%s", plain)
	}
	return m[1]
}

// enter signs somebody in and gives the cookie.
func enter(t testing.TB, site http.Handler, l *lobby, email string, headers ...string) string {
	t.Helper()
	send(site, "/sign-in", url.Values{"email": {email}}, headers...)
	r := send(site, l.linkIn(t), nil, headers...)
	if r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/week" || len(r.Cookies()) != 1 {
		t.Fatalf("%d %v", r.StatusCode, r.Header)
	}
	c := r.Cookies()[0]
	if !c.HttpOnly || !c.Secure || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Name != "__Host-laycast" {
		t.Fatalf("the cookie is %v", c)
	}
	return c.Name + "=" + c.Value
}

func TestSignInAndOut(t *testing.T) {
	h, l := openHouse(), newLobby()
	site := h.office(t, l)
	first := text(t, get(site, "/"))
	wants(t, "the first page", first, `action="/sign-in"`, "Send me a link")
	hides(t, "the first page", first, "Quay", "A1", "Gull", "Porch")
	if r := get(site, "/week"); r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/" {
		t.Fatalf("the week without a sign-in: %d %v", r.StatusCode, r.Header)
	}
	cookie := enter(t, site, l, "Office@Quay.example")
	if len(l.mails) != 1 || l.mails[0].Kind != notify.KindSignIn || l.mails[0].Recipient != "office@quay.example" {
		t.Fatalf("mails %+v", l.mails)
	}
	wants(t, "the week", text(t, get(site, "/week", "Cookie", cookie)), "Porch A1", "Sign out")
	if r := get(site, "/", "Cookie", cookie); r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/week" {
		t.Errorf("the first page, signed in: %d %v", r.StatusCode, r.Header)
	}
	for key := range l.sessions { // the token itself is nowhere
		if strings.Contains(key, strings.TrimPrefix(cookie, "__Host-laycast=")) {
			t.Error("the session's token is kept as it is")
		}
	}
	if r := send(site, "/sign-out", nil, "Cookie", cookie); r.StatusCode != http.StatusSeeOther {
		t.Fatalf("sign out: %d", r.StatusCode)
	}
	if r := get(site, "/week", "Cookie", cookie); r.StatusCode != http.StatusSeeOther {
		t.Errorf("after signing out: %d", r.StatusCode)
	}
}

// TestSignInLinkIsForOneUse: looking at a link, as mail scanners do, does not
// use it up; pressing does; time ends it too.
func TestSignInLinkIsForOneUse(t *testing.T) {
	h, l := openHouse(), newLobby()
	site := h.office(t, l)
	send(site, "/sign-in", url.Values{"email": {"office@quay.example"}})
	link := l.linkIn(t)
	for range 3 {
		r := get(site, link)
		if body := text(t, r); r.StatusCode != 200 || !strings.Contains(body, `action="`+link+`"`) || len(r.Cookies()) > 0 {
			t.Fatalf("looking: %d %v\n%s", r.StatusCode, r.Header, body)
		}
	}
	if r := send(site, link, nil); r.StatusCode != http.StatusSeeOther {
		t.Fatalf("the first press: %d", r.StatusCode)
	}
	for name, r := range map[string]*http.Response{"pressed again": send(site, link, nil), "looked at again": get(site, link),
		"never was": send(site, "/sign-in/AAAAAAAAAAAAAAAAAAAAAAAAAA", nil), "no token": send(site, "/sign-in/x", nil)} {
		if r.StatusCode != http.StatusNotFound || len(r.Cookies()) > 0 {
			t.Errorf("%s: %d %v", name, r.StatusCode, r.Cookies())
		}
	}
	send(site, "/sign-in", url.Values{"email": {"office@quay.example"}})
	link = l.linkIn(t)
	h.clock.set(h.clock.Now().Add(access.SignInLasts))
	if r := send(site, link, nil); r.StatusCode != http.StatusNotFound {
		t.Errorf("a link that is over: %d", r.StatusCode)
	}
}

// TestSignInTellsNothing: the answer is the same for those who may and those who
// may not, and only the former get a mail.
func TestSignInTellsNothing(t *testing.T) {
	h, l := openHouse(), newLobby()
	h.book.Firm.Office = []string{"Ann@Quay.example"}
	site := h.office(t, l)
	var bodies []string
	for _, email := range []string{"office@quay.example", "ann@quay.example", "nobody@quay.example", "a@b\r\nBcc: c@d.example", `"><script>`, ""} {
		r := send(site, "/sign-in", url.Values{"email": {email}})
		if r.StatusCode != http.StatusOK || len(r.Cookies()) > 0 {
			t.Errorf("%q: %d", email, r.StatusCode)
		}
		bodies = append(bodies, text(t, r))
	}
	for _, b := range bodies {
		if b != bodies[0] {
			t.Errorf("the answers differ:\n%s\n%s", bodies[0], b)
		}
	}
	if len(l.mails) != 2 || l.mails[1].Recipient != "ann@quay.example" {
		t.Errorf("%d mails", len(l.mails))
	}
}

// TestSessionFixation: a token that was planted, whether ours or made up, is not
// the one that signs in.
func TestSessionFixation(t *testing.T) {
	h, l := openHouse(), newLobby()
	site := h.office(t, l)
	planted := "__Host-laycast=" + strings.Repeat("A", 43)
	cookie := enter(t, site, l, "office@quay.example", "Cookie", planted)
	if cookie == planted {
		t.Fatal("a made-up token signs in")
	}
	again := enter(t, site, l, "office@quay.example", "Cookie", cookie)
	if again == cookie {
		t.Fatal("signing in keeps the token")
	}
	for _, dead := range []string{planted, cookie} {
		if r := get(site, "/week", "Cookie", dead); r.StatusCode != http.StatusSeeOther {
			t.Errorf("%s opens the week: %d", dead, r.StatusCode)
		}
	}
	if r := get(site, "/week", "Cookie", again); r.StatusCode != http.StatusOK {
		t.Errorf("the new token: %d", r.StatusCode)
	}
}

// TestSignInEndsWithTheRight: who is taken off the settings is out at once.
func TestSignInEndsWithTheRight(t *testing.T) {
	h, l := openHouse(), newLobby()
	h.book.Firm.Office = []string{"ann@quay.example"}
	site := h.office(t, l)
	cookie := enter(t, site, l, "ann@quay.example")
	if r := get(site, "/week", "Cookie", cookie); r.StatusCode != http.StatusOK {
		t.Fatalf("%d", r.StatusCode)
	}
	h.book.Firm.Office = nil
	if r := get(site, "/week", "Cookie", cookie); r.StatusCode != http.StatusSeeOther {
		t.Errorf("after it was taken away: %d", r.StatusCode)
	}
}

func TestSignInFromAnotherSite(t *testing.T) {
	h, l := openHouse(), newLobby()
	site := h.office(t, l)
	cookie := enter(t, site, l, "office@quay.example")
	for _, path := range []string{"/sign-in", "/sign-out", "/sign-in/AAAAAAAAAAAAAAAAAAAAAAAAAA"} {
		for name, headers := range map[string][]string{
			"by its own word": {"Sec-Fetch-Site", "cross-site"}, "a sibling": {"Sec-Fetch-Site", "same-site"},
			"an old browser": {"Origin", "https://evil.example"}, "from nowhere": {"Origin", "null"},
		} {
			r := ask(site, http.MethodPost, "https://lay.quay.example"+path, strings.NewReader("email=office@quay.example"),
				append([]string{"Content-Type", "application/x-www-form-urlencoded", "Cookie", cookie}, headers...)...)
			if r.StatusCode != http.StatusForbidden {
				t.Errorf("%s, %s: %d", path, name, r.StatusCode)
			}
		}
	}
	if r := get(site, "/week", "Cookie", cookie); r.StatusCode != http.StatusOK {
		t.Error("another site signed the owner out")
	}
}

func TestSignInIsNotAskedTooOften(t *testing.T) {
	h, l := openHouse(), newLobby()
	site := h.office(t, l, func(c *Config) { c.Proxies = []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24")} })
	post := func(from string) int {
		return send(site, "/sign-in", url.Values{"email": {"x@y.example"}}, "X-Forwarded-For", from).StatusCode
	}
	for i := range asksBurst {
		if got := post("198.51.100.7"); got != http.StatusOK {
			t.Fatalf("time %d: %d", i, got)
		}
	}
	if got := post("198.51.100.7"); got != http.StatusTooManyRequests {
		t.Errorf("once more: %d", got)
	}
	// what a client says in front of its own address is its own word
	if got := post("203.0.113.9, 198.51.100.7"); got != http.StatusTooManyRequests {
		t.Errorf("with a lie in front: %d", got)
	}
	if got := post("198.51.100.8"); got != http.StatusOK {
		t.Errorf("another client behind the same proxy: %d", got)
	}
	h.clock.set(h.clock.Now().Add(asksEvery))
	if got := post("198.51.100.7"); got != http.StatusOK {
		t.Errorf("after a while: %d", got)
	}
}

// TestOnlyOurProxyIsBelieved: without one, X-Forwarded-For changes nothing.
func TestOnlyOurProxyIsBelieved(t *testing.T) {
	site := openHouse().office(t, newLobby())
	last := 0
	for i := range asksBurst + 1 {
		last = send(site, "/sign-in", url.Values{"email": {"x@y.example"}}, "X-Forwarded-For", fmt.Sprintf("198.51.100.%d", i)).StatusCode
	}
	if last != http.StatusTooManyRequests {
		t.Errorf("a header got round the limit: %d", last)
	}
}

func TestGateForgets(t *testing.T) {
	c := &fixedClock{t: at(12, 18, 0)}
	g := newGate(c, time.Minute, 2)
	for i := range gatesKept * 2 {
		g.passes(addressOf(i))
	}
	if n := len(g.by); n > gatesKept {
		t.Errorf("%d networks are remembered", n)
	}
}

// endless is a body that never ends and counts what was taken of it.
type endless struct{ n int64 }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'a'
	}
	e.n += int64(len(p))
	return len(p), nil
}

func TestAHugeUploadIsRefused(t *testing.T) {
	site := openHouse().office(t, newLobby())
	e := &endless{}
	r := ask(site, http.MethodPost, "https://lay.quay.example/sign-in", io.LimitReader(e, 100<<20),
		"Content-Type", "application/x-www-form-urlencoded", "Sec-Fetch-Site", "same-origin")
	if r.StatusCode != http.StatusRequestEntityTooLarge || e.n > 1<<20 {
		t.Errorf("%d after %d bytes", r.StatusCode, e.n)
	}
}

func TestSignInWithoutADatabase(t *testing.T) {
	h, l := openHouse(), newLobby()
	site := h.office(t, l)
	cookie := enter(t, site, l, "office@quay.example")
	l.broken = errBroken
	for path, r := range map[string]*http.Response{"/week": get(site, "/week", "Cookie", cookie), "/": get(site, "/", "Cookie", cookie),
		"/sign-in": send(site, "/sign-in", url.Values{"email": {"office@quay.example"}})} {
		if body := text(t, r); r.StatusCode != http.StatusServiceUnavailable || strings.Contains(body, "disk") {
			t.Errorf("%s: %d %s", path, r.StatusCode, body)
		}
	}
}
