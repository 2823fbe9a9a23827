package main

import (
	"bytes"
	"image"
	"image/png"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"laycast/scheduler/task"
	"laycast/web"
)

// TestRecordPage: the owner sees the day's record while it is open, adds a photo,
// and once it is closed prints it and hands it over; then nothing is added.
func TestRecordPage(t *testing.T) {
	t.Parallel()
	r := laidDay(t)
	site, err := r.h.pages(t.Context(), web.NewHealth(watched{r.h, r.clock}, r.clock), r.sched, &web.DemoPages{Firm: r.h.firm.UID, MailDir: r.o.mail}, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	ask := func(method, path, kind string, body []byte) *httptest.ResponseRecorder {
		q := httptest.NewRequest(method, path, bytes.NewReader(body))
		q.RemoteAddr = "127.0.0.1:1234"
		if kind != "" {
			q.Header.Set("Content-Type", kind)
		}
		w := httptest.NewRecorder()
		site.ServeHTTP(w, q)
		return w
	}
	add := func(file []byte, link string) int {
		var b bytes.Buffer
		m := multipart.NewWriter(&b)
		_ = m.WriteField("day", "2027-05-05")
		_ = m.WriteField("note", `corner "><script>alert(1)</script>`)
		_ = m.WriteField("link", link)
		f, err := m.CreateFormFile("photo", "a.png")
		if err != nil {
			t.Fatal(err)
		}
		_, _ = f.Write(file)
		_ = m.Close()
		return ask(http.MethodPost, "/job/Q-01/record/photo", m.FormDataContentType(), b.Bytes()).Code
	}
	var pic bytes.Buffer
	if err := png.Encode(&pic, image.NewRGBA(image.Rect(0, 0, 30, 20))); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		file []byte
		link string
		want int
	}{{pic.Bytes(), "", 303}, {nil, "https://pictures.example/2", 303}, {nil, "javascript:alert(1)", 400}, {[]byte("no picture"), "", 400}, {nil, "", 400}} {
		if got := add(c.file, c.link); got != c.want {
			t.Errorf("a photo of %d bytes or %q: %d, want %d", len(c.file), c.link, got, c.want)
		}
	}
	page := ask(http.MethodGet, "/job/Q-01/record", "", nil)
	text := page.Body.String()
	if keep := os.Getenv("LAYCAST_KEEP_PAGE"); keep != "" { // to look at
		_ = os.WriteFile(keep, []byte(text), 0o600)
	}
	for _, want := range []string{"NOT CLOSED YET", "MODEL OUTPUT", "MEASURED on site", "R-4471", "https://pictures.example/2", "No row of the firm", "Add it to the record"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if page.Code != 200 || strings.Contains(text, "<script") || len(text) > 60_000 {
		t.Errorf("%d, %d bytes, a script: %t", page.Code, len(text), strings.Contains(text, "<script"))
	}
	photos := regexp.MustCompile(`src="(/job/Q-01/record/photo/[0-9a-f]{64})"`).FindAllStringSubmatch(text, -1)
	if len(photos) != 2 { // that of the crew and this one
		t.Fatalf("photos %q", photos)
	}
	if w := ask(http.MethodGet, photos[1][1], "", nil); w.Code != 200 || w.Header().Get("Content-Type") != "image/jpeg" {
		t.Errorf("the photo: %d %s", w.Code, w.Header())
	}
	r.do(task.Record, dublin(7, 8, 20))
	if w := ask(http.MethodGet, "/job/Q-01/record/pdf/2027-05-05", "", nil); w.Code != 200 || !strings.HasPrefix(w.Body.String(), "%PDF-") {
		t.Errorf("the PDF: %d", w.Code)
	}
	if got := add(pic.Bytes(), ""); got != http.StatusConflict {
		t.Errorf("a photo of a closed day: %d", got)
	}
	if w := ask(http.MethodPost, "/job/Q-01/record/send", "application/x-www-form-urlencoded", []byte("job=Q-01")); w.Code != 303 {
		t.Errorf("hand over: %d %s", w.Code, w.Body)
	}
	for path, want := range map[string]int{"/job/none/record": 404, "/job/Q-01/record/pdf/2027-05-06": 404, "/job/Q-01/record/photo/00": 404, "/job/Q-01": 200} {
		if w := ask(http.MethodGet, path, "", nil); w.Code != want {
			t.Errorf("%s: %d, want %d", path, w.Code, want)
		}
	}
}
