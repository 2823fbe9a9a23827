package web

import (
	"compress/gzip"
	"net/http"
	"strings"
)

// squeezed compresses what a page of the firm's own answers. Pages that hold
// secrets opt out: beside text that others chose, a compressed length tells about
// a secret.
type squeezed struct {
	http.ResponseWriter
	gz    *gzip.Writer
	plain bool
	begun bool
}

// squeeze wraps an answer for who takes gzip.
func squeeze(w http.ResponseWriter, r *http.Request) (http.ResponseWriter, func()) {
	if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") || r.Method == http.MethodHead {
		return w, func() {}
	}
	q := &squeezed{ResponseWriter: w}
	return q, func() {
		if q.gz != nil {
			_ = q.gz.Close() // the client is gone: there is nobody to tell
		}
	}
}

// WriteHeader decides by the content's type.
func (q *squeezed) WriteHeader(status int) {
	if !q.begun {
		q.begun = true
		h := q.Header()
		h.Add("Vary", "Accept-Encoding")
		if !q.plain && strings.HasPrefix(h.Get("Content-Type"), "text/html") {
			h.Set("Content-Encoding", "gzip")
			h.Del("Content-Length")
			q.gz = gzip.NewWriter(q.ResponseWriter)
		}
	}
	q.ResponseWriter.WriteHeader(status)
}

// Write writes through the compression where there is one.
func (q *squeezed) Write(b []byte) (int, error) {
	if !q.begun {
		q.WriteHeader(http.StatusOK)
	}
	if q.gz != nil {
		return q.gz.Write(b)
	}
	return q.ResponseWriter.Write(b)
}
