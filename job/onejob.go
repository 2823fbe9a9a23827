package job

import (
	"bytes"
	"encoding/json"
	"io"
)

// DecodeJob reads one job, an object of the shape that stands in the list
// "jobs" of an import file, with the same checks. When there is any problem the
// Job is only what could be read and must not be used.
func DecodeJob(r io.Reader, firm Firm) (Job, Problems) {
	d := &importDecoder{firm: firm, crewIDs: map[string]int{}, jobIDs: map[string]int{}}
	data, err := io.ReadAll(io.LimitReader(r, maxImportBytes+1))
	switch {
	case err != nil:
		d.file("", "could not be read: %v", err)
	case len(data) > maxImportBytes:
		d.file("", "larger than %d MB; this is no job", maxImportBytes>>20)
	default:
		d.decodeOne(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")))
	}
	if len(d.out.Jobs) == 0 {
		return Job{}, d.problems
	}
	return d.out.Jobs[0], d.problems
}

func (d *importDecoder) decodeOne(data []byte) {
	if at := firstBadUTF8(data); at >= 0 {
		d.file("", "%s: this is not UTF-8 text; save the file as UTF-8", place(data, at))
		return
	}
	if len(bytes.TrimSpace(data)) == 0 {
		d.file("", `the file is empty; it must be one job, {"id": ..., "title": ..., ...}`)
		return
	}
	var form json.RawMessage
	if err := json.Unmarshal(data, &form); err != nil {
		d.file("", "%s", syntaxReason(data, err))
		return
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	budget := maxRowValues
	v, err := readValue(dec, &budget)
	if err != nil {
		d.file("", "could not be read: %v", err)
		return
	}
	if v.get("jobs") != nil || v.get("crews") != nil {
		d.file("", "this is a whole import file, not one job; take it in with laycast import")
		return
	}
	d.row("job", 1, v, budget < 0, d.job)
}
