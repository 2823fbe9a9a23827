package web

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"laycast/notify"
)

// The local mail catcher of the demo: it reads the files that the file
// transport wrote, and nothing else.

// mailFile are the names that are looked at.
var mailFile = regexp.MustCompile(`^[A-Za-z0-9_-]{1,100}\.eml$`)

// mailsShown is how many mails the list holds (ours, no source).
const mailsShown = 300

type mailListPage struct {
	Mails []mailLine
	More  int
}

type mailLine struct {
	File, Subject, To, Date string
	at                      time.Time
}

type mailPage struct {
	File    string
	Headers []headerLine
	Text    []segment
	HTML    bool
	Parts   []string
}

type headerLine struct{ Name, Value string }

// segment is a piece of text, a link or not.
type segment struct {
	Text string
	Link bool
}

func (s *site) mailList(w http.ResponseWriter, _ *http.Request) {
	all, err := listMails(s.Demo.MailDir)
	if err != nil {
		s.unavailable(w, "mails", err)
		return
	}
	p := mailListPage{Mails: all}
	if len(all) > mailsShown {
		p.Mails, p.More = all[:mailsShown], len(all)-mailsShown
	}
	s.show(w, http.StatusOK, "mails", frame{Title: "Mails", Body: p})
}

// listMails reads the heads of all mails in a folder, newest first.
func listMails(dir string) ([]mailLine, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil // no mail was written yet
	}
	if err != nil {
		return nil, fmt.Errorf("list the mails: %w", err)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("open the folder of mails: %w", err)
	}
	defer func() { _ = root.Close() }()
	var out []mailLine
	for _, en := range entries {
		if !mailFile.MatchString(en.Name()) || !en.Type().IsRegular() {
			continue
		}
		f, err := root.Open(en.Name())
		if err != nil {
			return nil, fmt.Errorf("open a mail: %w", err)
		}
		_, e, err := readHeader(f)
		_ = f.Close()
		l := mailLine{File: en.Name(), Subject: "(cannot be read)", at: e.Date}
		if err == nil {
			l.Subject, l.To = cmp.Or(notify.Clean(e.field("Subject")), "(no subject)"), notify.Clean(e.field("To"))
			if !e.Date.IsZero() {
				l.Date = e.Date.Format("Monday 2 January 2006, 15:04")
			}
		}
		out = append(out, l)
	}
	slices.SortFunc(out, func(x, y mailLine) int { return cmp.Or(y.at.Compare(x.at), strings.Compare(x.File, y.File)) })
	return out, nil
}

// mail reads the mail that a request names; false where it is answered.
func (s *site) mail(w http.ResponseWriter, r *http.Request) (eml, string, bool) {
	name := r.PathValue("file")
	if !mailFile.MatchString(name) {
		notFound(w)
		return eml{}, "", false
	}
	b, err := readMailFile(s.Demo.MailDir, name)
	if errors.Is(err, fs.ErrNotExist) {
		notFound(w)
		return eml{}, "", false
	}
	e := eml{}
	if err == nil {
		e, err = readMail(b)
	}
	if err != nil {
		s.unavailable(w, "mail", err)
		return eml{}, "", false
	}
	return e, name, true
}

// readMailFile reads one file of the folder; no link leads out of it.
func readMailFile(dir, name string) ([]byte, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("open the folder of mails: %w", err)
	}
	defer func() { _ = root.Close() }()
	f, err := root.Open(name)
	if err != nil {
		return nil, fmt.Errorf("open a mail: %w", err)
	}
	defer func() { _ = f.Close() }()
	return io.ReadAll(io.LimitReader(f, emlBytes))
}

func (s *site) mailShow(w http.ResponseWriter, r *http.Request) {
	e, name, ok := s.mail(w, r)
	if !ok {
		return
	}
	w.Header().Set("Content-Security-Policy", policy+"; frame-src 'self'")
	p := mailPage{File: name, Text: linked(e.Text), HTML: e.HTML != "", Parts: e.Parts}
	for _, h := range []string{"From", "To", "Subject", "Date", "Message-Id", "In-Reply-To", "References", "Auto-Submitted"} {
		if v := notify.Clean(e.field(h)); v != "" {
			p.Headers = append(p.Headers, headerLine{h, v})
		}
	}
	s.show(w, http.StatusOK, "mail", frame{Title: cmp.Or(notify.Clean(e.field("Subject")), "A mail"), Body: p})
}

// mailHTML gives a mail's HTML to the frame that shows it. It is foreign text
// from the browser's view: a sandbox without origin, scripts or loads.
func (s *site) mailHTML(w http.ResponseWriter, r *http.Request) {
	e, _, ok := s.mail(w, r)
	if !ok {
		return
	}
	if e.HTML == "" {
		notFound(w)
		return
	}
	h := w.Header()
	h.Set("Content-Security-Policy", "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'self'")
	h.Set("X-Frame-Options", "SAMEORIGIN")
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	_, _ = io.WriteString(w, e.HTML) // the client is gone: there is nobody to tell
}

// webLink finds links in plain text.
var webLink = regexp.MustCompile(`https?://[^\s<>"]*[^\s<>".,;:)]`)

// linked cuts text into what is a link and what is not.
func linked(text string) []segment {
	var out []segment
	at := 0
	for _, m := range webLink.FindAllStringIndex(text, -1) {
		if m[0] > at {
			out = append(out, segment{Text: text[at:m[0]]})
		}
		out = append(out, segment{Text: text[m[0]:m[1]], Link: true})
		at = m[1]
	}
	if at < len(text) {
		out = append(out, segment{Text: text[at:]})
	}
	return out
}
