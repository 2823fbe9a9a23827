// Package aslaid is the as-laid record: under what conditions a roof was laid,
// with what, and who said so. A record is closed some time after its day and is
// never changed: its rows are chained by hashes, so that a change shows. It is
// pure.
package aslaid

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"

	"laycast/job"
)

// Kind says what a row of a record holds.
type Kind string

// The kinds of rows, in the order in which a record has them.
const (
	KindDay     Kind = "day"     // a Day
	KindCall    Kind = "call"    // a Call
	KindReport  Kind = "report"  // a job.Report
	KindHour    Kind = "hour"    // an Hour
	KindReading Kind = "reading" // a Reading
	KindBatch   Kind = "batch"   // a job.Batch
	KindPhoto   Kind = "photo"   // a Photo
	KindUse     Kind = "use"     // a Use
)

// Row is one row of a firm's chain of records.
type Row struct {
	Seq  int64    `json:"seq"` // from 1, without a gap within a firm
	Job  string   `json:"job"` // id
	Date job.Date `json:"date"`
	Kind Kind     `json:"kind"`
	Body string   `json:"body"` // canonical JSON; see Canonical
	Prev string   `json:"prev"` // hash of the row before, "" of the first
	Hash string   `json:"hash"` // of this one; see Sum
}

// Canonical writes a value as JSON with the keys of every object in order, no
// spaces, and numbers as Go writes them. The same value is the same text.
func Canonical(v any) (string, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return "", fmt.Errorf("write %T as JSON: %w", v, err)
	}
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.UseNumber()
	var any any
	if err := dec.Decode(&any); err != nil {
		return "", fmt.Errorf("read %T back: %w", v, err)
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(any); err != nil {
		return "", fmt.Errorf("write %T as JSON: %w", v, err)
	}
	return strings.TrimSuffix(out.String(), "\n"), nil
}

// Sum gives the hash of a row in hexadecimal: SHA-256 over the hash of the row
// before, a line feed, and the canonical JSON of {body, date, job, kind, seq},
// the body as the JSON that it is.
func (r Row) Sum() (string, error) {
	if !json.Valid([]byte(r.Body)) {
		return "", fmt.Errorf("row %d of the records is no JSON any more", r.Seq)
	}
	text, err := Canonical(struct {
		Body json.RawMessage `json:"body"`
		Date job.Date        `json:"date"`
		Job  string          `json:"job"`
		Kind Kind            `json:"kind"`
		Seq  int64           `json:"seq"`
	}{json.RawMessage(r.Body), r.Date, r.Job, r.Kind, r.Seq})
	if err != nil {
		return "", fmt.Errorf("row %d of the records: %w", r.Seq, err)
	}
	sum := sha256.Sum256([]byte(r.Prev + "\n" + text))
	return hex.EncodeToString(sum[:]), nil
}

// Link gives new rows their place at the end of a chain whose last row is given
// (the zero Row: an empty chain).
func Link(last Row, rows []Row) ([]Row, error) {
	out := make([]Row, len(rows))
	for i, r := range rows {
		r.Seq, r.Prev = last.Seq+1, last.Hash
		var err error
		if r.Hash, err = r.Sum(); err != nil {
			return nil, err
		}
		out[i], last = r, r
	}
	return out, nil
}

// Broken is a place where a chain does not hold.
type Broken struct {
	Seq int64 // of the row
	Job string
	Why string
}

// Error says where and why.
func (b *Broken) Error() string {
	return fmt.Sprintf("the records do not hold at row %d (job %s): %s", b.Seq, b.Job, b.Why)
}

// Verify goes through a firm's whole chain, in order of Seq, and gives the first
// place where it does not hold, as a *Broken. Rows that were cut off at the end do
// not show in a chain by itself: keep the last hash elsewhere, as the hand-over
// mail does.
func Verify(rows []Row) error {
	var last Row
	for _, r := range rows {
		sum, err := r.Sum()
		switch {
		case err != nil:
			return &Broken{r.Seq, r.Job, "its text is no JSON any more"}
		case r.Seq != last.Seq+1:
			return &Broken{r.Seq, r.Job, fmt.Sprintf("row %d should come here: one was taken out or put in", last.Seq+1)}
		case r.Prev != last.Hash:
			return &Broken{r.Seq, r.Job, "the row before it was changed or taken out"}
		case r.Hash != sum:
			return &Broken{r.Seq, r.Job, "it was changed after it was closed"}
		}
		last = r
	}
	return nil
}

// Short gives the beginning of a hash, enough to compare by eye.
func Short(hash string) string { return hash[:min(len(hash), 16)] }
