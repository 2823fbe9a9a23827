package notify

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/textproto"
	"slices"
	"strings"
	"unicode/utf8"
)

// Mails are rendered with the standard library and not with go-mail: that pins
// one boundary a message, draws those of nested parts at random, and puts a
// picture beside the alternatives instead of beside the HTML that shows it. A
// message must be the same bytes however often it is composed.

// render gives the whole mail as it goes over the wire.
func (c *Composer) render(m Message, to mail.Address, d draft) ([]byte, error) {
	var b bytes.Buffer
	header := func(key, value string) { b.WriteString(fold(key, value)) }
	header("From", address(c.from))
	header("To", address(to))
	header("Reply-To", address(c.reply))
	header("Subject", encodeText(m.Subject))
	header("Date", m.Created.In(c.zone).Format("Mon, 02 Jan 2006 15:04:05 -0700"))
	header("Message-ID", "<"+m.MessageID+">")
	if refs := references(d.thread); len(refs) > 0 {
		header("In-Reply-To", refs[len(refs)-1])
		header("References", strings.Join(refs, " "))
	}
	header("MIME-Version", "1.0")
	header("Auto-Submitted", "auto-generated") // RFC 3834
	if strings.HasPrefix(d.stop, "https://") && isWebLink(d.stop) {
		// one click, without a page between: only over https (RFC 8058 3.1)
		header("List-Unsubscribe", "<"+d.stop+">")
		header("List-Unsubscribe-Post", "List-Unsubscribe=One-Click")
	}

	root, err := letterPart(m, d.letter)
	if err != nil {
		return nil, err
	}
	for _, key := range []string{"Content-Type", "Content-Transfer-Encoding"} {
		if v := root.header.Get(key); v != "" {
			header(key, v)
		}
	}
	b.WriteString("\r\n")
	b.Write(root.body)
	return b.Bytes(), nil
}

// keepReferences is how many mails before it a mail names: the one that began
// the thread and the newest. Ours, no source; RFC 5322 sets no bound, and only
// a visit that moves again and again comes near it.
const keepReferences = 12

// references gives the ids of the mails before one, oldest first, each once; the
// last is the one that it follows (RFC 5322 3.6.4).
func references(thread []string) []string {
	var out []string
	for _, id := range thread {
		if ref, ok := messageID(id); ok && !slices.Contains(out, ref) {
			out = append(out, ref)
		}
	}
	if n := len(out); n > keepReferences {
		out = append(out[:1], out[n-keepReferences+1:]...)
	}
	return out
}

// messageID checks the id of an earlier message and gives it with its brackets.
func messageID(s string) (string, bool) {
	s = strings.TrimSuffix(strings.TrimPrefix(strings.TrimSpace(s), "<"), ">")
	left, right, ok := strings.Cut(s, "@")
	if !ok || left == "" || right == "" || len(s) > 250 {
		return "", false
	}
	for _, r := range s {
		if r <= ' ' || r > 126 || strings.ContainsRune(`<>()[]\,;:"`, r) {
			return "", false
		}
	}
	return "<" + s + ">", true
}

// part is one node of a mail's tree, rendered.
type part struct {
	header textproto.MIMEHeader
	body   []byte
}

// letterPart renders a letter: plain text and HTML as alternatives, the HTML
// together with its picture where it has one (RFC 2387).
func letterPart(m Message, l letter) (part, error) {
	cid := "hours." + m.MessageID
	page, err := l.html(cid)
	if err != nil {
		return part{}, err
	}
	plain, err := textPart("text/plain", []byte(l.text()))
	if err != nil {
		return part{}, err
	}
	rich, err := textPart("text/html", page)
	if err != nil {
		return part{}, err
	}
	if l.Picture != nil {
		rich, err = group("related", `; type="text/html"`, "r."+m.ID, rich, picturePart(*l.Picture, cid))
		if err != nil {
			return part{}, err
		}
	}
	if l.Invitation == nil {
		return group("alternative", "", "a."+m.ID, plain, rich)
	}
	// Clients look for the buttons among the alternatives and for something to
	// save among the attachments; it is the same object (INTEROP.md D.1).
	inner, err := group("alternative", "", "a."+m.ID, plain, rich, calendarPart(*l.Invitation))
	if err != nil {
		return part{}, err
	}
	return group("mixed", "", "m."+m.ID, inner, calendarFile(*l.Invitation))
}

// calendarPart renders a calendar object as the richest alternative of a mail.
// In base64 its line ends and folds survive any relay.
func calendarPart(i Invitation) part {
	h := textproto.MIMEHeader{}
	h.Set("Content-Type", "text/calendar; charset=utf-8; method="+i.Method+"; component=VEVENT")
	h.Set("Content-Transfer-Encoding", "base64")
	return part{h, base64Lines(i.ICS)}
}

// calendarFile renders the same as a file.
func calendarFile(i Invitation) part {
	h := textproto.MIMEHeader{}
	h.Set("Content-Type", `application/ics; name="invite.ics"`)
	h.Set("Content-Transfer-Encoding", "base64")
	h.Set("Content-Disposition", `attachment; filename="invite.ics"`)
	return part{h, base64Lines(i.ICS)}
}

// base64Lines encodes in base64, 76 characters a line.
func base64Lines(data []byte) []byte {
	var b bytes.Buffer
	for s := base64.StdEncoding.EncodeToString(data); s != ""; {
		n := min(76, len(s))
		b.WriteString(s[:n] + "\r\n")
		s = s[n:]
	}
	return b.Bytes()
}

// textPart renders text in quoted-printable: lines of at most 76 characters, 7
// bits, so that it survives every relay.
func textPart(kind string, text []byte) (part, error) {
	var b bytes.Buffer
	w := quotedprintable.NewWriter(&b)
	if _, err := w.Write(text); err != nil {
		return part{}, fmt.Errorf("encode %s: %w", kind, err)
	}
	if err := w.Close(); err != nil {
		return part{}, fmt.Errorf("encode %s: %w", kind, err)
	}
	h := textproto.MIMEHeader{}
	h.Set("Content-Type", kind+"; charset=utf-8")
	h.Set("Content-Transfer-Encoding", "quoted-printable")
	return part{h, b.Bytes()}, nil
}

// picturePart renders an inline PNG.
func picturePart(p Picture, cid string) part {
	name := mime.FormatMediaType("inline", map[string]string{"filename": shorten(clean(p.Name), 40)})
	h := textproto.MIMEHeader{}
	h.Set("Content-Type", "image/png")
	h.Set("Content-Transfer-Encoding", "base64")
	h.Set("Content-ID", "<"+cid+">")
	h.Set("Content-Disposition", name)
	return part{h, base64Lines(p.PNG)}
}

// group renders a multipart. The boundary comes from the message's ID and not
// from chance; quoted-printable and base64 bodies cannot hold it, for it begins
// with "=_" (RFC 2045 6.7).
func group(kind, params, tag string, parts ...part) (part, error) {
	boundary := "=_" + tag
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	if err := w.SetBoundary(boundary); err != nil {
		return part{}, fmt.Errorf("set boundary %q: %w", boundary, err)
	}
	for _, p := range parts {
		pw, err := w.CreatePart(p.header)
		if err != nil {
			return part{}, fmt.Errorf("begin a part: %w", err)
		}
		if _, err := pw.Write(p.body); err != nil {
			return part{}, fmt.Errorf("write a part: %w", err)
		}
	}
	if err := w.Close(); err != nil {
		return part{}, fmt.Errorf("end the parts: %w", err)
	}
	h := textproto.MIMEHeader{}
	h.Set("Content-Type", "multipart/"+kind+params+`; boundary="`+boundary+`"`)
	return part{h, b.Bytes()}, nil
}

// fold writes a header field, its lines broken at blanks so that they stay
// within 78 characters where words allow it (RFC 5322 2.2.3).
func fold(key, value string) string {
	var b strings.Builder
	b.WriteString(key + ":")
	n := len(key) + 1
	for i, w := range strings.Split(value, " ") {
		if i > 0 && n+1+len(w) > columns {
			b.WriteString("\r\n")
			n = 0
		}
		b.WriteString(" " + w)
		n += 1 + len(w)
	}
	b.WriteString("\r\n")
	return b.String()
}

// address writes "name" <address>, the name quoted or encoded as it needs.
func address(a mail.Address) string {
	if a.Name == "" {
		return "<" + a.Address + ">"
	}
	if isPlain(a.Name) {
		q := strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(a.Name)
		return `"` + q + `" <` + a.Address + ">"
	}
	return encodeWords(mime.BEncoding, a.Name) + " <" + a.Address + ">"
}

// encodeText makes a Subject 7-bit: runs of words that are not plain ASCII
// become encoded words (RFC 2047), the rest stays readable.
func encodeText(s string) string {
	var out, run []string
	flush := func() {
		if len(run) > 0 {
			out = append(out, encodeWords(mime.QEncoding, strings.Join(run, " ")))
			run = nil
		}
	}
	for _, w := range strings.Split(s, " ") {
		if !isPlain(w) || len(w) > 60 {
			run = append(run, w)
			continue
		}
		flush()
		out = append(out, w)
	}
	flush()
	return strings.Join(out, " ")
}

// encodeWords encodes s as encoded words of at most 60 characters, so that a
// folded header stays within its line. Blanks between them do not count.
func encodeWords(enc mime.WordEncoder, s string) string {
	var out []string
	chunk := ""
	for _, r := range s {
		if chunk != "" && encodedLen(enc, chunk+string(r)) > 60 {
			out = append(out, forceEncode(enc, chunk))
			chunk = ""
		}
		chunk += string(r)
	}
	return strings.Join(append(out, forceEncode(enc, chunk)), " ")
}

func encodedLen(enc mime.WordEncoder, s string) int { return len(forceEncode(enc, s)) }

// forceEncode encodes s even where it is plain ASCII, which the standard
// library would leave alone: a piece of a longer run must be encoded like its
// neighbours, or the blank between them would count.
func forceEncode(enc mime.WordEncoder, s string) string {
	if enc == mime.BEncoding {
		return "=?utf-8?b?" + base64.StdEncoding.EncodeToString([]byte(s)) + "?="
	}
	var b strings.Builder
	b.WriteString("=?utf-8?q?")
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case c == ' ':
			b.WriteByte('_')
		case c > ' ' && c < utf8.RuneSelf && c != 127 && c != '=' && c != '?' && c != '_':
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "=%02X", c)
		}
	}
	return b.String() + "?="
}

// isPlain reports whether s is printable ASCII that no reader would take for an
// encoded word.
func isPlain(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] < ' ' || s[i] > 126 {
			return false
		}
	}
	return !strings.Contains(s, "=?")
}
