package notify

import (
	"bytes"
	_ "embed" // the HTML form of a letter
	"fmt"
	"html/template"
	"strings"
)

// letter is what a mail says, before it is plain text or HTML: both are made
// from it, so that both say the same.
type letter struct {
	Tone     tone
	Headline string
	Lede     []string
	Picture  *Picture
	Blocks   []block
	Foot     []string
	Weather  bool // shows weather, so its maker is credited

	Invitation *Invitation
}

// tone colours a headline.
type tone string

const (
	plainTone tone = "plain"
	goTone    tone = "go"
	noGoTone  tone = "no-go"
	holdTone  tone = "hold"
)

// block is one part of a letter under a heading.
type block struct {
	Title string
	Text  []string
	Facts []fact
	Spans []span
	Items []string
	Links []link
	Small bool

	Picture *Picture // shown here; the plain text has its words instead
}

type fact struct{ Label, Value string }

type span struct{ When, What, Note string }

type link struct{ Text, URL string }

// Picture is a PNG shown within a mail. It is never needed to understand it.
type Picture struct {
	Name  string // file name, such as "hours.png"
	Title string
	Words []string // what it shows, a sentence each
	PNG   []byte
	Width int // in CSS pixels
}

// Invitation is a calendar object that goes with a mail, for the reader's own
// calendar (RFC 6047).
type Invitation struct {
	Method string // REQUEST or CANCEL, as in the object
	ICS    []byte
}

// Alt gives what the picture shows on one line.
func (p Picture) Alt() string { return p.Title + ". " + strings.Join(p.Words, " ") }

// addFact adds a line to the block unless it has no value.
func (b *block) addFact(label, value string) {
	if value != "" {
		b.Facts = append(b.Facts, fact{label, value})
	}
}

// empty reports whether the block says nothing.
func (b block) empty() bool {
	return len(b.Text)+len(b.Facts)+len(b.Spans)+len(b.Items)+len(b.Links) == 0 && b.Picture == nil
}

// add appends the blocks that say something.
func (l *letter) add(bs ...block) {
	for _, b := range bs {
		if !b.empty() {
			l.Blocks = append(l.Blocks, b)
		}
	}
}

// text gives the letter as plain text, lines of at most 78 columns.
func (l letter) text() string {
	lines := wrap(l.Headline, "", "")
	for _, p := range l.Lede {
		lines = append(lines, "")
		lines = append(lines, wrap(p, "", "")...)
	}
	for _, b := range l.Blocks {
		lines = append(lines, "")
		lines = append(lines, b.text()...)
	}
	lines = append(lines, "", "-- ")
	for _, p := range l.Foot {
		lines = append(lines, wrap(p, "", "")...)
	}
	return strings.Join(lines, "\n") + "\n"
}

func (b block) text() []string {
	var lines []string
	indent := ""
	if b.Title != "" {
		lines = append(lines, wrap(b.Title, "", "")...)
		indent = "  "
	}
	for _, p := range b.Text {
		lines = append(lines, wrap(p, indent, indent)...)
	}
	for _, f := range b.Facts {
		lines = append(lines, wrap(f.Label+": "+f.Value, indent, indent+"  ")...)
	}
	for _, s := range b.Spans {
		row := s.When + "  " + s.What
		if s.Note != "" {
			row += ": " + s.Note
		}
		lines = append(lines, wrap(row, indent, indent+"    ")...)
	}
	if b.Picture != nil {
		for _, s := range b.Picture.Words {
			lines = append(lines, wrap(s, indent, indent+"  ")...)
		}
	}
	for _, it := range b.Items {
		lines = append(lines, wrap(it, indent+"- ", indent+"  ")...)
	}
	for _, k := range b.Links {
		lines = append(lines, wrap(k.Text+":", indent, indent)...)
		lines = append(lines, indent+k.URL)
	}
	return lines
}

//go:embed letter.html
var letterHTML string

var letterTemplate = template.Must(template.New("letter").Parse(letterHTML))

// html gives the letter as a page that fits a telephone. Everything foreign in
// it is escaped by html/template.
func (l letter) html(cid string) ([]byte, error) {
	var b bytes.Buffer
	err := letterTemplate.Execute(&b, struct {
		letter
		// html/template trusts no scheme but http, https and mailto; ours is
		// made of letters, digits, dots and one @.
		Source template.URL
	}{l, template.URL("cid:" + cid)})
	if err != nil {
		return nil, fmt.Errorf("fill in the HTML letter: %w", err)
	}
	return b.Bytes(), nil
}
