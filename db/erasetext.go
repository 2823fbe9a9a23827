package db

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// How long a text must be to be looked for in others: a name, a phone or an address;
// and a title or a note, of which short ones ("porch", "side gate") are anybody's.
// Ours.
const (
	shortName = 3
	shortNote = 12
)

// wordsOf gives what tells who a customer is, as squeezed writes it.
func wordsOf(c Customer) []string {
	out := []string{squeezed(c.Email)}
	add := func(least int, texts ...string) {
		for _, t := range texts {
			if t = squeezed(t); utf8.RuneCountInString(t) >= least {
				out = append(out, t)
			}
		}
	}
	for _, b := range c.Jobs {
		n := b.Notes
		add(shortName, b.Customer.Name, b.Phone, b.Site.Address)
		add(shortNote, b.Title, n.Access, n.Parking, n.PowerWater, n.Neighbours, n.RoomBelow)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// partsOf gives the parts of a customer's names, the short ones aside. They count in
// what was written about the customer's own jobs; elsewhere "Green" is a colour.
func partsOf(c Customer) (out []string) {
	for _, b := range c.Jobs {
		for _, p := range strings.FieldsFunc(squeezed(b.Customer.Name), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
			if utf8.RuneCountInString(p) >= shortName {
				out = append(out, p)
			}
		}
	}
	return out
}

// squeezed gives a text in lower case and on one line, as mails break lines anywhere.
func squeezed(text string) string { return strings.ToLower(strings.Join(strings.Fields(text), " ")) }

// tells reports whether a text holds a word of the customer's, as a whole word.
func (e *erasing) tells(text string) bool { return hasAny(text, e.words) }

// tellsOf is tells for a text about one job.
func (e *erasing) tellsOf(id, text string) bool {
	return e.tells(text) || slices.Contains(e.c.ids(), id) && hasAny(text, e.parts)
}

// clean gives a text about a job ("": none), or the word for what is gone where it
// tells anything.
func (e *erasing) clean(id, text string) string {
	if e.tellsOf(id, text) {
		return gone
	}
	return text
}

func hasAny(text string, words []string) bool {
	low := squeezed(text)
	return slices.ContainsFunc(words, func(w string) bool { return hasWord(low, w) })
}

func hasWord(text, word string) bool {
	inner := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }
	for from := 0; ; {
		i := strings.Index(text[from:], word)
		if i < 0 {
			return false
		}
		i += from
		before, _ := utf8.DecodeLastRuneInString(text[:i])
		after, n := utf8.DecodeRuneInString(text[i+len(word):])
		if (i == 0 || !inner(before)) && (n == 0 || !inner(after)) {
			return true
		}
		from = i + 1
	}
}

// mend gives a line of a job's diary with its free texts cleaned.
func (e *erasing) mend(id, text string) (string, bool, error) {
	var line map[string]any
	dec := json.NewDecoder(strings.NewReader(text))
	dec.UseNumber()
	if err := dec.Decode(&line); err != nil {
		return "", false, fmt.Errorf("read JSON: %w", err)
	}
	changed := false
	for _, key := range []string{"because", "note"} {
		if s, ok := line[key].(string); ok && e.tellsOf(id, s) {
			line[key], changed = gone, true
		}
	}
	if !changed {
		return text, false, nil
	}
	out, err := encode(line)
	return out, true, err
}

// unescaped gives the strings of a JSON text, a line each, as they read; another
// text as it is.
func unescaped(text string) string {
	var v any
	if json.Unmarshal([]byte(text), &v) != nil {
		return text
	}
	return strings.Join(stringsIn(v), "\n")
}

func stringsIn(v any) (out []string) {
	switch x := v.(type) {
	case string:
		return []string{x}
	case []any:
		for _, e := range x {
			out = append(out, stringsIn(e)...)
		}
	case map[string]any:
		for _, e := range x {
			out = append(out, stringsIn(e)...)
		}
	}
	return out
}
