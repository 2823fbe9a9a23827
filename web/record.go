package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"laycast/job"
	"laycast/job/aslaid"
	"laycast/job/photo"
	"laycast/notify"
	"laycast/notify/sheet"
	"laycast/scheduler/ledger"
)

// Aslaid keeps the as-laid records and their photos.
type Aslaid interface {
	Records(ctx context.Context, uid, job string) ([]aslaid.Row, error)
	// OnePicture gives a photo; false where it is not kept (any more).
	OnePicture(ctx context.Context, uid, job, id string) ([]byte, bool, error)
	PutPhoto(ctx context.Context, uid, job string, day job.Date, p aslaid.Photo, image []byte) error
}

// Recorder makes records of days that are not closed yet, and hands closed ones over.
type Recorder interface {
	Drafts(ctx context.Context, uid, job string) ([]aslaid.Record, error)
	HandOver(ctx context.Context, uid, job string) error
}

// RecordPages are what the pages of as-laid records need.
type RecordPages struct {
	Kept     Aslaid
	Recorder Recorder
}

// recordView is the page of a job's as-laid records.
type recordView struct {
	ID, Path string
	Broken   string // where the firm's chain does not hold
	Days     []recordDay
	Sends    bool // there is something to hand over
	Acts     bool
}

type recordDay struct {
	sheet.Sheet
	Date   string
	Closed bool
	Photos []recordPhoto
}

type recordPhoto struct{ Path, Link, Note string }

// recordRoutes are the pages of as-laid records.
func (s *site) recordRoutes(mux *http.ServeMux) {
	see := func(pattern string, h insidePage) {
		mux.Handle(pattern, only(s.inside(h), http.MethodGet, http.MethodHead))
	}
	see("/job/{id}/record", s.record)
	see("/job/{id}/record/pdf/{date}", s.recordPDF)
	see("/job/{id}/record/photo/{photo}", s.photo)
	if s.Desk != nil && s.Deeds != nil {
		mux.Handle("/job/{id}/record/send", only(s.inside(s.change(s.sendRecord)), http.MethodPost))
		mux.Handle("/job/{id}/record/photo", only(s.inside(s.addPhoto), http.MethodPost))
	}
}

func recordPath(id string) string { return jobPath(id) + "/record" }

// recordsOf gives the records of a job, closed ones first; ok is false where there
// is no such job.
func (s *site) recordsOf(r *http.Request) (b ledger.Book, head sheet.Head, all []aslaid.Record, ok bool, err error) {
	ctx, uid := r.Context(), s.firmUID()
	b, at, err := s.book(ctx, uid)
	if err != nil {
		return b, head, nil, false, err
	}
	j, ok := booking(b, r.PathValue("id"))
	if !ok {
		return b, head, nil, false, nil
	}
	head = sheet.Head{Title: j.Title, Customer: j.Customer.Name, Address: j.Site.Address, Zone: siteZone(j.Job, at.zone)}
	rows, err := s.Aslaid.Kept.Records(ctx, uid, j.ID)
	if err != nil {
		return b, head, nil, true, err
	}
	if all, err = aslaid.Assemble(rows); err != nil {
		return b, head, nil, true, err
	}
	drafts, err := s.Aslaid.Recorder.Drafts(ctx, uid, j.ID)
	return b, head, append(all, drafts...), true, err
}

// record shows a job's as-laid records, newest first, and whether the firm's chain
// holds.
func (s *site) record(w http.ResponseWriter, r *http.Request, v viewer) {
	b, head, all, ok, err := s.recordsOf(r)
	if err == nil && !ok {
		notFound(w)
		return
	}
	var chain []aslaid.Row
	if err == nil {
		chain, err = s.Aslaid.Kept.Records(r.Context(), s.firmUID(), "")
	}
	if err != nil {
		s.unavailable(w, "record", err)
		return
	}
	id := r.PathValue("id")
	p := recordView{ID: id, Path: jobPath(id), Acts: s.Desk != nil && s.Deeds != nil && !v.Looks}
	if broken := aslaid.Verify(chain); broken != nil {
		p.Broken = broken.Error()
	}
	credit := s.creditFor(b)
	slices.Reverse(all)
	for _, x := range all {
		d := recordDay{Sheet: sheet.Of(x, head), Date: x.Date.String(), Closed: x.Hash != ""}
		for _, ph := range x.Photos {
			d.Photos = append(d.Photos, recordPhoto{Path: recordPath(id) + "/photo/" + url.PathEscape(ph.ID), Link: ph.Link, Note: notify.Clean(ph.Note)})
		}
		p.Sends = p.Sends || d.Closed
		p.Days = append(p.Days, d)
	}
	s.show(w, http.StatusOK, "record", frame{Title: "As-laid record", Firm: notify.Clean(b.Firm.Name), Viewer: &v, Credit: credit, Body: p})
}

// recordPDF gives one day's record on paper.
func (s *site) recordPDF(w http.ResponseWriter, r *http.Request, _ viewer) {
	b, head, all, ok, err := s.recordsOf(r)
	if err != nil {
		s.unavailable(w, "record", err)
		return
	}
	i := slices.IndexFunc(all, func(x aslaid.Record) bool { return x.Date.String() == r.PathValue("date") })
	if !ok || i < 0 {
		notFound(w)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Disposition", fmt.Sprintf(`inline; filename="record-%s.pdf"`, all[i].Date))
	h.Set("Cache-Control", "no-store")
	head.Credit = s.creditFor(b)
	if err := sheet.Of(all[i], head).PDF(w, all[i].Made()); err != nil {
		s.Log.Warn().Err(err).Str("job", all[i].Job).Msg("record could not be sent whole")
	}
}

// photo gives one photo.
func (s *site) photo(w http.ResponseWriter, r *http.Request, _ viewer) {
	jpg, ok, err := s.Aslaid.Kept.OnePicture(r.Context(), s.firmUID(), r.PathValue("id"), r.PathValue("photo"))
	switch {
	case err != nil:
		s.unavailable(w, "photo", err)
	case !ok:
		notFound(w)
	default:
		w.Header().Set("Content-Type", "image/jpeg")
		w.Header().Set("Cache-Control", "private, max-age=31536000, immutable") // it is named by its hash
		_, _ = w.Write(jpg)                                                     // the client is gone: there is nobody to tell
	}
}

// sendRecord hands the last closed day over to the customer.
func (s *site) sendRecord(form url.Values, _ viewer) (change, string) {
	id := form.Get("job")
	return change{did: "hand the record over", about: id, back: recordPath(id), do: func(ctx context.Context) error {
		return s.Aslaid.Recorder.HandOver(ctx, s.firmUID(), id)
	}}, ""
}

// addPhoto takes a photo, or a link to one, of a day whose record is open.
func (s *site) addPhoto(w http.ResponseWriter, r *http.Request, v viewer) {
	if v.Looks {
		plain(w, http.StatusForbidden, "From here the demonstration may be looked at only.")
		return
	}
	if err := r.ParseMultipartForm(bodyBytes); err != nil {
		s.refuse(w, v, http.StatusBadRequest, photo.ErrTooBig.Error())
		return
	}
	defer func() { _ = r.MultipartForm.RemoveAll() }()
	id := r.PathValue("id")
	day, err := job.ParseDate(r.PostFormValue("day"))
	p := aslaid.Photo{By: v.who(), At: s.Clock.Now(), Note: strings.TrimSpace(notify.Clean(r.PostFormValue("note"))), Link: strings.TrimSpace(r.PostFormValue("link"))}
	if err != nil || utf8.RuneCountInString(p.Note) > mostReason {
		s.refuse(w, v, http.StatusBadRequest, "The form does not say which day, or its note is longer than 500 characters.")
		return
	}
	jpg, err := sentPhoto(r, &p)
	if err != nil {
		s.refuse(w, v, http.StatusBadRequest, err.Error())
		return
	}
	s.recorded(w, r, v, change{did: "add a photo", about: id, detail: day.String() + " " + aslaid.Short(p.ID), back: recordPath(id), do: func(ctx context.Context) error {
		return s.Aslaid.Kept.PutPhoto(ctx, s.firmUID(), id, day, p, jpg)
	}})
}

// sentPhoto gives the photo that a form sends, cleaned, and names it; nil where it
// sends a link.
func sentPhoto(r *http.Request, p *aslaid.Photo) ([]byte, error) {
	f, _, err := r.FormFile("photo")
	if err == nil {
		defer func() { _ = f.Close() }()
		file, err := io.ReadAll(io.LimitReader(f, photo.MostBytes+1))
		if err != nil {
			return nil, errors.New("the photo could not be read; choose it again")
		}
		if len(file) > 0 {
			jpg, hash, err := photo.Clean(file)
			p.ID, p.Link = hash, ""
			return jpg, err
		}
	}
	u, err := url.Parse(p.Link)
	if p.Link == "" || err != nil || u.Scheme != "https" || u.Host == "" || len(p.Link) > mostReason {
		return nil, errors.New("choose a photo, or give a link that begins with https://")
	}
	p.ID = job.EntryID("link", p.Link)
	return nil, nil
}
