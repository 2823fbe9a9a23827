package web

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// mostFile is the largest file that the pages take in; base64 makes a third more
// of it when it is sent back to be confirmed, which must stay under bodyBytes.
const mostFile = 2 << 20

// importPage takes a file in: first a look at it, then all of it.
type importPage struct {
	Bad      []job.Problem
	Rows     []importRow
	File     string // base64, to be sent back
	Looked   bool
	Nothing  bool // all of it is in the book already
	Sum      string
	Complain string
}

type importRow struct{ What, ID, Name, State string }

// exportJobs gives the book as a CSV that the import takes in again.
func (s *site) exportJobs(w http.ResponseWriter, r *http.Request, _ viewer) {
	b, at, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "export", err)
		return
	}
	in := job.Import{Crews: b.Crews}
	for _, j := range b.Jobs {
		in.Jobs = append(in.Jobs, j.Job)
	}
	var out bytes.Buffer
	out.WriteString("\xef\xbb\xbf") // spreadsheets take a file without it for another alphabet
	if err := job.WriteCSV(&out, in); err != nil {
		s.unavailable(w, "export", err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/csv; charset=utf-8")
	h.Set("Content-Disposition", fmt.Sprintf(`attachment; filename="jobs-%s.csv"`, at.today))
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write(out.Bytes()) // the client is gone: there is nobody to tell
}

// askImport asks for a file.
func (s *site) askImport(w http.ResponseWriter, r *http.Request, v viewer) {
	f, err := s.Feeds.Firm(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "import", err)
		return
	}
	s.showImport(w, http.StatusOK, v, f, importPage{})
}

func (s *site) showImport(w http.ResponseWriter, status int, v viewer, f job.Firm, p importPage) {
	s.show(w, status, "import", frame{Title: "Take a file in", Firm: notify.Clean(f.Name), Viewer: &v, Body: p})
}

// takeImport looks at a file, and takes it in where it was looked at before. A
// file with a bad row is taken in not at all.
func (s *site) takeImport(w http.ResponseWriter, r *http.Request, v viewer) {
	ctx, uid := r.Context(), s.firmUID()
	b, _, err := s.book(ctx, uid)
	if err != nil {
		s.unavailable(w, "import", err)
		return
	}
	data, yes, why := fileOf(r)
	if why != "" {
		s.showImport(w, http.StatusBadRequest, v, b.Firm, importPage{Complain: why})
		return
	}
	in, problems := decodeBook(data, b.Firm)
	if len(problems) > 0 {
		s.showImport(w, http.StatusUnprocessableEntity, v, b.Firm, importPage{Looked: true, Bad: problems})
		return
	}
	p := previewOf(b, in)
	if !yes {
		p.File = base64.StdEncoding.EncodeToString(data)
		s.showImport(w, http.StatusOK, v, b.Firm, p)
		return
	}
	s.recorded(w, r, v, change{did: "take a file in", detail: p.Sum, back: "/jobs", do: func(ctx context.Context) error {
		return s.Jobs.Editor.Import(ctx, uid, in)
	}})
}

// fileOf gives the file that a form sends, and whether it was looked at before.
func fileOf(r *http.Request) (data []byte, yes bool, why string) {
	const tooMuch = "The file is too large for this page; laycast import takes larger ones in."
	if err := r.ParseMultipartForm(bodyBytes); err != nil {
		return nil, false, tooMuch
	}
	defer func() { _ = r.MultipartForm.RemoveAll() }() // nothing lies on disk: the bound is that of memory
	if text := r.PostFormValue("sent"); text != "" {
		data, err := base64.StdEncoding.DecodeString(text)
		if err != nil || len(data) > mostFile {
			return nil, false, "The file did not come back as it was sent. Choose it again."
		}
		return data, true, ""
	}
	f, _, err := r.FormFile("file")
	if err != nil {
		return nil, false, "Choose a file first."
	}
	defer f.Close()
	data, err = io.ReadAll(io.LimitReader(f, mostFile+1))
	switch {
	case err != nil:
		return nil, false, "The file could not be read. Choose it again."
	case len(data) > mostFile:
		return nil, false, tooMuch
	case len(data) == 0:
		return nil, false, "The file is empty."
	}
	return data, false, ""
}

// decodeBook reads an import of either kind: JSON begins with a brace, and CSV
// never does.
func decodeBook(data []byte, f job.Firm) (job.Import, job.Problems) {
	if strings.HasPrefix(strings.TrimSpace(strings.TrimPrefix(string(data[:min(len(data), 64)]), "\xef\xbb\xbf")), "{") {
		return job.DecodeImport(bytes.NewReader(data), f)
	}
	return job.DecodeImportCSV(bytes.NewReader(data), f)
}

// previewOf says what an import would do to the book.
func previewOf(b ledger.Book, in job.Import) importPage {
	p := importPage{Looked: true}
	count := map[string]int{}
	put := func(what, id, name string, have, is any, there bool) {
		state := "new"
		if there {
			state = "changed"
			if sameJSON(have, is) {
				state = "as it is"
			}
		}
		count[state]++
		p.Rows = append(p.Rows, importRow{what, notify.Clean(id), notify.Clean(name), state})
	}
	for _, c := range in.Crews {
		have, there := crewOf(b, c.ID)
		put("crew", c.ID, c.Name, have, c, there)
	}
	for _, j := range in.Jobs {
		have, there := booking(b, j.ID)
		put("job", j.ID, j.Title, have.Job, j, there)
	}
	p.Nothing = count["new"]+count["changed"] == 0
	p.Sum = fmt.Sprintf("%d new, %d changed, %d as they are", count["new"], count["changed"], count["as it is"])
	return p
}

// sameJSON reports whether two values are kept alike.
func sameJSON(x, y any) bool {
	a, err := json.Marshal(x)
	if err != nil {
		return false
	}
	b, err := json.Marshal(y)
	return err == nil && bytes.Equal(a, b)
}
