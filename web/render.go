package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
)

//go:embed templates/*.html
var templateFiles embed.FS

//go:embed static/laycast.css
var styleSheet []byte

// asset is a file that pages load; its name changes with its content, so that
// it may be kept for ever.
type asset struct {
	name, etag string
	body       []byte
}

func loadStyle() (asset, error) {
	if len(styleSheet) == 0 {
		return asset{}, fmt.Errorf("set up the pages: the style sheet is empty")
	}
	sum := sha256.Sum256(styleSheet)
	h := hex.EncodeToString(sum[:6])
	return asset{name: "laycast-" + h + ".css", etag: `"` + h + `"`, body: styleSheet}, nil
}

func loadTemplates() (*template.Template, error) {
	t, err := template.New("").Funcs(template.FuncMap{
		"words":   func(d job.Date) string { return d.Words() },
		"percent": notify.Percent,
		"clean":   notify.Clean,
	}).ParseFS(templateFiles, "templates/*.html")
	if err != nil {
		return nil, fmt.Errorf("set up the pages: %w", err)
	}
	return t, nil
}

func (s *site) static(w http.ResponseWriter, r *http.Request) {
	if r.PathValue("file") != s.style.name {
		notFound(w)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/css; charset=utf-8")
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("ETag", s.style.etag)
	if r.Header.Get("If-None-Match") == s.style.etag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	_, _ = w.Write(s.style.body) // the client is gone: there is nobody to tell
}

// frame is what every page has.
type frame struct {
	Title  string
	Firm   string  // whose page it is, or ""
	Base   string  // what paths of ours begin with
	Style  string  // path of the style sheet
	Credit string  // whose weather it is, where weather is shown
	Demo   bool    // show that all is invented, and the way between its pages
	Viewer *viewer // who looks at the firm's own pages; nil on all others
	Secret bool    // holds secrets: never compressed beside what others may have chosen
	Nav    []navLine
	Body   any
}

// navLine is one of the firm's own pages.
type navLine struct {
	Name, Path string
	Here       bool
}

// nav gives the way between the firm's own pages, for who may see them.
func (s *site) nav(f frame) []navLine {
	if f.Viewer == nil && !f.Demo {
		return nil
	}
	lines := []navLine{{Name: "The week", Path: "/week"}}
	if s.Jobs != nil {
		lines = append(lines, navLine{Name: "Jobs", Path: "/jobs"}, navLine{Name: "Crews", Path: "/crews"})
	}
	lines = append(lines, navLine{Name: "Log", Path: "/log"})
	if s.Scores != nil {
		lines = append(lines, navLine{Name: "Reliability", Path: "/reliability"})
	}
	lines = append(lines, navLine{Name: "Settings", Path: "/settings"})
	if f.Viewer != nil && f.Viewer.Owner() && !f.Viewer.Looks && s.Maker != nil && s.Desk != nil {
		lines = append(lines, navLine{Name: "Links", Path: "/links"})
	}
	if f.Demo {
		lines = append(lines, navLine{Name: "Mails", Path: "/mail"})
	}
	for i := range lines {
		lines[i].Here = lines[i].Name == f.Title
		lines[i].Path = s.base + lines[i].Path
	}
	return lines
}

// show renders one page whole before it is sent: a failure is no half page.
func (s *site) show(w http.ResponseWriter, status int, name string, f frame) {
	f.Base, f.Style, f.Demo = s.base, s.base+"/static/"+s.style.name, s.Demo != nil
	f.Nav = s.nav(f)
	var b bytes.Buffer
	if err := s.templates.ExecuteTemplate(&b, name+".html", f); err != nil {
		s.unavailable(w, name, err)
		return
	}
	if q, ok := w.(*squeezed); ok {
		q.plain = f.Secret
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // the client is gone: there is nobody to tell
}

// subscribe is how a reader's calendar is reached.
type subscribe struct {
	HTTPS  string
	Webcal template.URL // html/template knows no webcal; the address is our own
}

// subscribeTo finds the reader's feed among the firm's links; nil where there
// is none, or it was made with another link key.
func (s *site) subscribeTo(l access.Link, links []access.Link) *subscribe {
	for _, x := range links {
		if x.Purpose == access.Feed && x.Audience == l.Audience && x.ID == l.ID && x.Hash == access.HashOf(access.Token(s.Key, x)) {
			u := s.PublicURL + access.Path(s.Key, x)
			return &subscribe{HTTPS: u, Webcal: template.URL(Webcal(u))}
		}
	}
	return nil
}

// Webcal gives the form of a calendar's address that opens a calendar program.
func Webcal(u string) string {
	_, rest, ok := strings.Cut(u, "://")
	if !ok {
		return ""
	}
	return "webcal://" + rest
}

func (s *site) home(w http.ResponseWriter, _ *http.Request) {
	s.show(w, http.StatusOK, "home", frame{Title: "laycast"})
}
