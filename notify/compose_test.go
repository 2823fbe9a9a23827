package notify_test

import (
	"bytes"
	"encoding/base64"
	"errors"
	"flag"
	"image"
	"image/png"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
)

var update = flag.Bool("update", false, "write the golden mails anew")

// TestGolden holds every mail against the bytes looked at and approved.
func TestGolden(t *testing.T) {
	for name, compose := range samples(t) {
		t.Run(name, func(t *testing.T) {
			m, err := compose(composer(t))
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join("testdata", name+".eml")
			if *update {
				if err := os.WriteFile(path, m.Wire, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatalf("%v; run go test ./notify -update and look at what it wrote", err)
			}
			if !bytes.Equal(m.Wire, want) {
				t.Errorf("the mail differs from %s:\n%s", path, m.Wire)
			}
			again, err := compose(composer(t))
			if err != nil || !bytes.Equal(again.Wire, m.Wire) || again.MessageID != m.MessageID {
				t.Errorf("composed again it is another mail (%v)", err)
			}
			checkMessage(t, m)
			checkWire(t, m)
		})
	}
}

// checkMessage holds a message against what a book of messages needs.
func checkMessage(t *testing.T, m notify.Message) {
	t.Helper()
	if m.ID != m.Name.ID() || m.MessageID != m.ID+"@saltbox.example" {
		t.Errorf("id %q, Message-ID %q do not follow from the name", m.ID, m.MessageID)
	}
	if m.State != notify.Pending || m.Channel != notify.Mail || m.Firm != "saltbox" || m.Date.IsZero() || m.Reason == "" || m.Audience == "" {
		t.Errorf("incomplete: %+v", m.Name)
	}
	if m.Created.IsZero() || m.NotBefore.Before(m.Created) || !m.Expires.After(m.NotBefore) {
		t.Errorf("created %v, not before %v, expires %v", m.Created, m.NotBefore, m.Expires)
	}
	if m.Recipient != strings.ToLower(m.Recipient) {
		t.Errorf("recipient %q is not in lower case", m.Recipient)
	}
}

// parsed is a mail read back with the standard library.
type parsed struct {
	header      mail.Header
	subject     string
	plain, html string
	images      [][]byte
	calendars   [][]byte
	tree        []string
}

func parse(t rapid.TB, wire []byte) parsed {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(wire))
	if err != nil {
		t.Fatal(err)
	}
	p := parsed{header: m.Header}
	if p.subject, err = new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject")); err != nil {
		t.Fatal(err)
	}
	p.walk(t, m.Header.Get("Content-Type"), m.Header.Get("Content-Transfer-Encoding"), m.Body)
	return p
}

func (p *parsed) walk(t rapid.TB, ctype, enc string, body io.Reader) {
	t.Helper()
	kind, params, err := mime.ParseMediaType(ctype)
	if err != nil {
		t.Fatalf("%q: %v", ctype, err)
	}
	p.tree = append(p.tree, kind)
	if strings.HasPrefix(kind, "multipart/") {
		r := multipart.NewReader(body, params["boundary"])
		for {
			part, err := r.NextRawPart()
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			p.walk(t, part.Header.Get("Content-Type"), part.Header.Get("Content-Transfer-Encoding"), part)
		}
	}
	switch enc {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	default:
		t.Fatalf("%s in %q", kind, enc)
	}
	b, err := io.ReadAll(body)
	if err != nil {
		t.Fatal(err)
	}
	switch kind {
	case "text/plain":
		p.plain = strings.ReplaceAll(string(b), "\r\n", "\n")
	case "text/html":
		p.html = string(b)
	case "image/png":
		p.images = append(p.images, b)
	case "text/calendar", "application/ics":
		p.calendars = append(p.calendars, b)
	default:
		t.Fatalf("unexpected part %s", kind)
	}
}

// checkWire holds the bytes against RFC 5322, 2045 and INTEROP's list.
func checkWire(t rapid.TB, m notify.Message) parsed {
	t.Helper()
	if bytes.Contains(bytes.ReplaceAll(m.Wire, []byte("\r\n"), nil), []byte("\n")) || bytes.Contains(bytes.ReplaceAll(m.Wire, []byte("\r\n"), nil), []byte("\r")) {
		t.Error("a bare CR or LF")
	}
	for _, b := range m.Wire {
		if b > 126 || b < ' ' && b != '\r' && b != '\n' {
			t.Fatalf("octet %#x", b)
		}
	}
	head, body, _ := bytes.Cut(m.Wire, []byte("\r\n\r\n"))
	for _, l := range strings.Split(string(head), "\r\n") {
		if len(l) > 78 {
			t.Errorf("header line of %d: %s", len(l), l)
		}
	}
	for _, l := range strings.Split(string(body), "\r\n") {
		if len(l) > 76 && !strings.HasPrefix(l, "Content-") {
			t.Errorf("body line of %d: %s", len(l), l)
		}
	}
	p := parse(t, m.Wire)
	for k, v := range p.header {
		if len(v) != 1 {
			t.Errorf("%s %d times", k, len(v))
		}
	}
	for _, k := range []string{"X-Mailer", "User-Agent", "Bcc", "Cc"} {
		if p.header.Get(k) != "" {
			t.Errorf("%s is there", k)
		}
	}
	to, err := p.header.AddressList("To")
	if err != nil || len(to) != 1 || !strings.EqualFold(to[0].Address, m.Recipient) {
		t.Errorf("To %v, %v; want %s alone", to, err, m.Recipient)
	}
	if reply, err := p.header.AddressList("Reply-To"); err != nil || reply[0].Address != "office@saltbox.example" {
		t.Errorf("Reply-To %v, %v", reply, err)
	}
	if d, err := p.header.Date(); err != nil || !d.Equal(m.Created.Truncate(time.Second)) {
		t.Errorf("Date %v, %v; want %v", d, err, m.Created)
	}
	if got := p.header.Get("Message-Id"); got != "<"+m.MessageID+">" {
		t.Errorf("Message-ID %s", got)
	}
	if p.header.Get("Auto-Submitted") != "auto-generated" || p.subject != m.Subject {
		t.Errorf("Auto-Submitted %q, subject %q for %q", p.header.Get("Auto-Submitted"), p.subject, m.Subject)
	}
	for _, l := range strings.Split(p.plain, "\n") {
		if utf8.RuneCountInString(l) > 78 && !strings.Contains(l, "://") {
			t.Errorf("plain line of %d columns: %s", utf8.RuneCountInString(l), l)
		}
	}
	clock := regexp.MustCompile(`\b\d\d:\d\d\b`)
	for _, at := range clock.FindAllString(p.html, -1) {
		if !strings.Contains(p.plain, at) {
			t.Errorf("%s is in the HTML and not in the plain text", at)
		}
	}
	return p
}

// TestSubjects holds what must be read without opening the mail.
func TestSubjects(t *testing.T) {
	want := map[string]string{
		"call-go":             "GO tomorrow, Heron: 24 m² garage roof, be on site 07:30",
		"call-no-go":          "NO-GO tomorrow, Heron: 24 m² garage roof",
		"call-hold":           "HOLD, Heron: 24 m² garage roof, decided by 05:30",
		"look-still-go":       "Still GO today, Heron: 24 m² garage roof, be on site 08:30",
		"look-now-go":         "Now GO today, Heron: 24 m² garage roof, be on site 07:30",
		"look-no-go":          "NO-GO today, do not load, Heron: 24 m² garage roof",
		"customer-go":         "Your roof: we come tomorrow at 07:30",
		"customer-no-go":      "Your roof: not tomorrow, a new date follows",
		"customer-hold":       "Your roof: tomorrow is not certain, you hear by 06:00 either way",
		"customer-stand-by":   "Your roof: perhaps tomorrow, you hear by 06:00 either way",
		"customer-look-no-go": "Your roof: not today, a new date follows",
		"date-moved":          "Your roof: a new date, Monday 19 April",
	}
	for name, subject := range want {
		m, err := samples(t)[name](composer(t))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if got := strings.ReplaceAll(m.Subject, "\u00a0", " "); got != subject {
			t.Errorf("%s: %q, want %q", name, got, subject)
		}
	}
}

// TestSays holds the sentences that a reader's day depends on.
func TestSays(t *testing.T) {
	says := map[string][]string{
		"call-go": {
			"Be on site at 07:30", "likely, 78 %", "14:40 in the middle forecast; nine in ten by 15:50", "Point of no return: 11:00",
			"08:00 to 10:24  strip: wind 6.2 of 10 m/s at 09:00", "air 8.4 °C, least 5 °C, at 15:00",
			"12 Gannet Row, Herring Cove", "code 4417", "workshop with a lathe", "Cover sheets, enough for the whole open roof",
			"office@saltbox.example", "A forecast is no permission", "data sheet, local codes", "31 °C (NIOSH Pocket Guide)",
			"never mix it neat with accelerator", "Edge protection", "Weather: an invented record",
		},
		"call-no-go":        {"Rain, 10:24 to 14:10, in 98 of 200 forecasts.", "A new date follows", "Survey at 3 Wharf Lane"},
		"call-hold":         {"decided by 05:30", "do not set off before you have heard"},
		"call-blind":        {"not known; the forecast lacks hours or is too old", "was last seen at 09:15"},
		"look-still-go":     {"On site: 08:30 (was 07:30)", "71 % (was 78 %)"},
		"look-eased-go":     {"less sure than one of the evening: open nothing unless sky and radar bear it out", "64 %", "11 %", "Before you strip"},
		"look-eased-coat":   {"less sure than one of the evening: look at the sky and the radar before you begin."},
		"look-no-go":        {"It was a go before. Do not open this roof."},
		"customer-go":       {"We come at 07:30 on Thursday 15 April 2027", "from about 08:00 to about 14:40", "crew Heron, 2 people"},
		"customer-hold":     {"You hear from us by 06:00 either way"},
		"customer-stand-by": {"Perhaps tomorrow", "This is no promise yet", "You hear from us by 06:00 either way", "If tomorrow does not suit you, please answer this mail or ring us tonight."},
		"week-told":         {"the week of Monday 12 April 2027"},
		"date-told":         {"Thursday 15 April 2027, at 07:30, weather permitting", "for about 7 hours"},
		"date-moved":        {"Monday 19 April 2027, at 07:30, weather permitting", "not on Thursday 15 April 2027", "Rain is likely on the day told before."},
		"cancelled":         {"We do not come on Thursday 15 April 2027"},
		"week":              {"Crew Plover", "sealed: likely, 81 %; date told", "Order the skip"},
		"trouble":           {"17:20 on Wednesday 5 May 2027", "HTTP 503"},
	}
	for name, want := range says {
		m, err := samples(t)[name](composer(t))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		flat := strings.Join(strings.Fields(strings.ReplaceAll(parse(t, m.Wire).plain, "\n", " ")), " ")
		for _, w := range want {
			if !strings.Contains(flat, strings.Join(strings.Fields(w), " ")) {
				t.Errorf("%s does not say %q:\n%s", name, w, flat)
			}
		}
	}
}

// TestNoWeatherJargonForCustomers keeps the trade's words out of their mails.
func TestNoJargonForCustomers(t *testing.T) {
	for _, name := range []string{"customer-go", "customer-no-go", "customer-hold", "customer-stand-by", "week-told", "date-told", "date-moved", "cancelled"} {
		m, err := samples(t)[name](composer(t))
		if err != nil {
			t.Fatal(err)
		}
		if m.Audience != notify.ToCustomer {
			t.Errorf("%s is for %s", name, m.Audience)
		}
		text := strings.ToLower(parse(t, m.Wire).plain)
		for _, w := range []string{"members", "ensemble", "dew", "m/s", "no-go", "laminat", "substrate", "%"} {
			if strings.Contains(text, w) && !strings.Contains("saltbox laminates", w) {
				t.Errorf("%s says %q", name, w)
			}
		}
	}
}

func TestSecondLookThreads(t *testing.T) {
	m, err := samples(t)["look-no-go"](composer(t))
	if err != nil {
		t.Fatal(err)
	}
	p := parse(t, m.Wire)
	want := "<abcdefghijklmnopqrstuvwxyz@saltbox.example>"
	if p.header.Get("In-Reply-To") != want || p.header.Get("References") != want {
		t.Errorf("In-Reply-To %q, References %q", p.header.Get("In-Reply-To"), p.header.Get("References"))
	}
	for _, bad := range []string{"", "no-at-sign", "a@b\r\nBcc: x@y.example", "<a b@c>"} {
		l := secondLook(t, nil, noGoCall(t))
		l.Thread = []string{bad}
		m, err := composer(t).SecondLook(l)
		if err != nil {
			t.Fatal(err)
		}
		if h := checkWire(t, m).header; h.Get("In-Reply-To") != "" || h.Get("References") != "" {
			t.Errorf("%q became In-Reply-To %q", bad, h.Get("In-Reply-To"))
		}
	}
}

// TestHostileText feeds text that would break out of a header, of HTML or of a
// line.
func TestHostileText(t *testing.T) {
	evil := []string{
		"\"><script>alert(1)</script>", "Bob\r\nBcc: victim@post.example\r\n\r\nHello", strings.Repeat("x", 500), strings.Repeat("äö ", 170),
		"=?utf-8?q?=0D=0ABcc:_x?=", "\x00\x07\x1b[31m", "a\u2028b\u202ec", string([]byte{0xff, 0xfe, 'a'}), "</style><img src=https://x.example/p.png>", "{{.Foot}}", ".\r\n.\r\nQUIT",
	}
	for _, s := range evil {
		l := letterOf(t, goCall(t))
		l.Job.Title, l.Job.Customer.Name, l.Job.Site.Address, l.Job.Phone = s, s, s, s
		l.Job.Notes = job.Notes{Access: s, Parking: s, PowerWater: s, Neighbours: s, RoomBelow: s}
		l.Crew.Name, l.Call.Source, l.Call.Reasons, l.PlanB, l.Why = s, s, []string{s}, []string{s}, s
		l.SeenURL, l.Subscribe = "javascript:alert(1)", s
		no, hold := l, l
		no.Call.Outcome, hold.Call.Outcome = call.NoGo, call.Hold
		for _, l := range []notify.CallLetter{l, no, hold} {
			for _, compose := range []func(notify.CallLetter) (notify.Message, error){composer(t).CrewCall, composer(t).SecondLook, composer(t).CustomerCall} {
				m, err := compose(l)
				if err != nil {
					t.Fatal(err)
				}
				checkHostile(t, m)
			}
		}
		m, err := composer(t).Trouble(notify.TroubleLetter{About: s, Subject: s, Lines: []string{s}, Now: at(t, evening)})
		if err != nil {
			t.Fatal(err)
		}
		checkHostile(t, m)
	}
}

func checkHostile(t *testing.T, m notify.Message) {
	t.Helper()
	p := checkWire(t, m)
	if utf8.RuneCountInString(m.Subject) > 150 {
		t.Errorf("subject of %d characters", utf8.RuneCountInString(m.Subject))
	}
	for _, bad := range []string{"<script", "<img src=https", "javascript:", "</style><"} {
		if strings.Contains(p.html, bad) {
			t.Errorf("the HTML holds %q", bad)
		}
	}
	for _, text := range []string{p.plain, p.html, p.subject} {
		if strings.ContainsAny(text, "\x00\x07\x1b\u2028\u202e") {
			t.Errorf("control characters got through: %q", text)
		}
	}
}

// TestAnyText composes with arbitrary text and reads the mail back.
func TestAnyText(t *testing.T) {
	c := composer(t)
	base := letterOf(t, goCall(t))
	rapid.Check(t, func(r *rapid.T) {
		l := base
		l.Job.Title = rapid.String().Draw(r, "title")
		l.Crew.Name = rapid.String().Draw(r, "crew")
		l.Job.Customer.Name = rapid.String().Draw(r, "customer")
		l.Job.Notes.Access = rapid.String().Draw(r, "access")
		m, err := c.CrewCall(l)
		if err != nil {
			r.Fatal(err)
		}
		checkWire(r, m)
		if m, err = c.CustomerCall(l); err != nil {
			r.Fatal(err)
		}
		checkWire(r, m)
	})
}

func TestPictureStandsBesideTheHTML(t *testing.T) {
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 60, 20))); err != nil {
		t.Fatal(err)
	}
	l := letterOf(t, goCall(t))
	l.Picture = &notify.Picture{Name: "hours.png", Title: "Hour ribbon", Words: []string{"Rain: open all day.", "Dew: closed 06:00 to 09:00."}, PNG: b.Bytes(), Width: 360}
	m, err := composer(t).CrewCall(l)
	if err != nil {
		t.Fatal(err)
	}
	p := checkWire(t, m)
	want := "multipart/alternative text/plain multipart/related text/html image/png"
	if got := strings.Join(p.tree, " "); got != want {
		t.Errorf("tree %s, want %s", got, want)
	}
	if len(p.images) != 1 || !bytes.Equal(p.images[0], b.Bytes()) {
		t.Error("the picture is not whole")
	}
	if !strings.Contains(p.html, `src="cid:hours.`+m.MessageID+`"`) || !strings.Contains(string(m.Wire), "Content-Id: <hours."+m.MessageID+">") {
		t.Error("the HTML does not show the picture")
	}
	if !strings.Contains(p.html, `alt="Hour ribbon. Rain: open all day. Dew: closed 06:00 to 09:00."`) {
		t.Error("the picture has no text in its place")
	}
	if !strings.Contains(p.plain, "  Dew: closed 06:00 to 09:00.\n") {
		t.Error("the plain text does not say what the picture shows")
	}
}

func TestRefuses(t *testing.T) {
	c := composer(t)
	l := letterOf(t, goCall(t))
	l.Call.Known = false
	if _, err := c.CrewCall(l); err == nil {
		t.Error("a go without a known chance was composed")
	}
	for _, addr := range []string{"", "nobody", "a@b@c", "a b@post.example", "x@post.example\r\nBcc: y@post.example", "Bob <x@post.example>", "ä@post.example", "x@", "@post.example"} {
		l := letterOf(t, noGoCall(t))
		l.Crew.Email = addr
		if _, err := c.CrewCall(l); !errors.Is(err, notify.ErrAddress) {
			t.Errorf("%q: %v, want ErrAddress", addr, err)
		}
	}
	for _, from := range []string{"", "Saltbox", "office@localhost", "Saltbox <office>"} {
		if _, err := notify.NewComposer(notify.ComposerConfig{Firm: firm(), From: from}); err == nil {
			t.Errorf("From %q was taken", from)
		}
	}
	for _, zone := range []string{"", "Local", "Mars/Olympus"} {
		f := firm()
		f.Zone = zone
		if _, err := notify.NewComposer(notify.ComposerConfig{Firm: f, From: "S <o@saltbox.example>"}); err == nil {
			t.Errorf("zone %q was taken", zone)
		}
	}
}

// TestSiteClock prints the site's time, not the firm's.
func TestSiteClock(t *testing.T) {
	l := letterOf(t, goCall(t))
	l.Job.Site.Zone = "America/St_Johns" // half an hour ahead of Halifax
	m, err := composer(t).CrewCall(l)
	if err != nil {
		t.Fatal(err)
	}
	if p := parse(t, m.Wire); !strings.Contains(p.subject, "be on site 08:00") || !strings.Contains(p.plain, "America/St_Johns") {
		t.Errorf("subject %q", p.subject)
	}
	l.Job.Site.Zone = "Nowhere/None"
	if m, err = composer(t).CrewCall(l); err != nil || !strings.Contains(m.Subject, "07:30") {
		t.Errorf("%v, subject %q; want the firm's clock", err, m.Subject)
	}
}

// TestQuietHours holds back dates, not calls.
func TestQuietHours(t *testing.T) {
	for _, c := range []struct{ now, want string }{
		{"2027-04-10T15:00:00Z", "2027-04-10T15:00:00Z"},
		{"2027-04-10T23:59:59Z", "2027-04-10T23:59:59Z"}, // 20:59:59
		{"2027-04-11T00:00:00Z", "2027-04-11T09:00:00Z"}, // 21:00
		{"2027-04-11T08:59:00Z", "2027-04-11T09:00:00Z"}, // 05:59
		{"2027-04-15T02:00:00Z", "2027-04-15T09:00:00Z"}, // 23:00 the evening before: 06:00 still comes before 07:30
		{"2027-04-15T09:00:00Z", "2027-04-15T09:00:00Z"},
	} {
		l := visitLetter(t)
		l.Now = at(t, c.now)
		m, err := composer(t).DateTold(l)
		if err != nil || !m.NotBefore.Equal(at(t, c.want)) {
			t.Errorf("at %s: not before %v, %v; want %s", c.now, m.NotBefore, err, c.want)
		}
	}
	l := letterOf(t, goCall(t))
	l.Now = at(t, "2027-04-15T01:00:00Z")
	if m, err := composer(t).CustomerCall(l); err != nil || !m.NotBefore.Equal(l.Now) {
		t.Errorf("a call at 22:00 waits until %v (%v)", m.NotBefore, err)
	}
}

// TestNamesApart checks that messages that differ have names that differ.
func TestNamesApart(t *testing.T) {
	seen := map[string]string{}
	note := func(what string, m notify.Message, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		if old, ok := seen[m.ID]; ok {
			t.Errorf("%s and %s share a name", what, old)
		}
		seen[m.ID] = what
	}
	for name, compose := range samples(t) {
		if strings.HasPrefix(name, "call-") && name != "call-go" || strings.HasPrefix(name, "customer-") && name != "customer-go" ||
			strings.HasPrefix(name, "look-") && name != "look-no-go" {
			continue // other outcomes of one call: one name by design
		}
		m, err := compose(composer(t))
		note(name, m, err)
	}
	own := letterOf(t, goCall(t)) // the firm's own roof
	own.Job.Customer.Email, own.Crew.Email = "office@saltbox.example", "office@saltbox.example"
	m, err := composer(t).CrewCall(own)
	note("own crew", m, err)
	m, err = composer(t).CustomerCall(own)
	note("own customer", m, err)
	back := visitLetter(t) // moved away and back again: told anew
	for moves := 1; moves < 4; moves++ {
		back.Visit.Moves = moves
		m, err := composer(t).DateMoved(back)
		note("moved", m, err)
	}
}
