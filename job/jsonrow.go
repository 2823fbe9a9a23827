package job

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// valueKind is the JSON type of a value, named as a person would.
type valueKind string

const (
	nullValue   valueKind = "null"
	boolValue   valueKind = "true or false"
	numberValue valueKind = "a number"
	textValue   valueKind = "text"
	listValue   valueKind = "a list"
	objectValue valueKind = "an object"
)

// value is one JSON value with its keys in the file's order, double keys and
// all: encoding/json's own decoding would hide those.
type value struct {
	kind  valueKind
	text  string   // of text, numbers and booleans
	keys  []string // of an object, one for each of items
	items []value
}

// get gives the value of a key, nil when it is absent.
func (v value) get(key string) *value {
	for i, k := range v.keys {
		if k == key {
			return &v.items[i]
		}
	}
	return nil
}

// readValue reads the next value. Once budget values have been kept the rest
// are passed over and budget is left negative.
func readValue(dec *json.Decoder, budget *int) (value, error) {
	tok, err := dec.Token()
	if err != nil {
		return value{}, err
	}
	return finish(dec, tok, budget)
}

// finish reads the rest of the value that began with tok.
func finish(dec *json.Decoder, tok json.Token, budget *int) (value, error) {
	*budget = max(*budget-1, -1)
	switch t := tok.(type) {
	case json.Delim:
		return finishNested(dec, t, budget)
	case string:
		return value{kind: textValue, text: t}, nil
	case json.Number:
		return value{kind: numberValue, text: t.String()}, nil
	case bool:
		return value{kind: boolValue, text: strconv.FormatBool(t)}, nil
	}
	return value{kind: nullValue}, nil
}

func finishNested(dec *json.Decoder, open json.Delim, budget *int) (value, error) {
	v := value{kind: listValue}
	if open == '{' {
		v.kind = objectValue
	}
	for dec.More() {
		key := ""
		if v.kind == objectValue {
			tok, err := dec.Token()
			if err != nil {
				return value{}, err
			}
			key, _ = tok.(string)
		}
		item, err := readValue(dec, budget)
		if err != nil {
			return value{}, err
		}
		if *budget < 0 {
			continue
		}
		if v.kind == objectValue {
			v.keys = append(v.keys, key)
		}
		v.items = append(v.items, item)
	}
	_, err := dec.Token() // the closing bracket
	return v, err
}

// rowReader is where the problems of one row go.
type rowReader struct {
	name     string
	n        int
	found    int // problems so far
	problems *Problems
}

// full reports whether the row has so many problems that more would help nobody.
func (r *rowReader) full() bool { return r.found > maxRowProblems }

// object reads the fields of one JSON object, notes what is wrong with each and
// which keys it was asked for, so that done can name the unknown ones.
type object struct {
	row   *rowReader
	path  string // "" or "site."
	v     value
	known []string
}

func (o *object) complain(field, format string, args ...any) {
	if o.row.full() {
		return
	}
	o.row.found++
	p := Problem{o.row.name, o.path + field, fmt.Sprintf(format, args...)}
	if o.row.full() {
		p.Field, p.Reason = "", fmt.Sprintf("more than %d problems in this row; the rest is not listed", maxRowProblems)
	}
	*o.row.problems = append(*o.row.problems, p)
}

// take gives the value of a key, nil when it is absent or null.
func (o *object) take(key string) *value {
	o.known = append(o.known, key)
	v := o.v.get(key)
	if v == nil || v.kind == nullValue {
		return nil
	}
	return v
}

// typed gives the value of a key if it is of the wanted type, and complains
// where it is of another, or missing though required.
func (o *object) typed(key string, want valueKind, required bool) *value {
	v := o.take(key)
	switch {
	case v == nil && required:
		o.complain(key, "missing; give %s", want)
	case v != nil && v.kind != want:
		o.complain(key, "must be %s, not %s", want, v.kind)
		return nil
	}
	return v
}

// sub gives the object under a key, empty (but not nil) when it is not there.
func (o *object) sub(key string, required bool) (*object, bool) {
	v := o.typed(key, objectValue, required)
	if v == nil {
		return &object{row: o.row, path: o.path + key + "."}, false
	}
	return &object{row: o.row, path: o.path + key + ".", v: *v}, true
}

// each calls read for every object of the list under a key.
func (o *object) each(key string, read func(*object)) {
	v := o.typed(key, listValue, false)
	if v == nil {
		return
	}
	for i, item := range v.items {
		name := fmt.Sprintf("%s[%d]", key, i+1)
		if item.kind != objectValue {
			o.complain(name, "must be %s, not %s", objectValue, item.kind)
			continue
		}
		el := &object{row: o.row, path: o.path + name + ".", v: item}
		read(el)
		el.done()
	}
}

// texts gives the list of texts under a key, item by item with its name.
func (o *object) texts(key string, use func(name, text string)) {
	v := o.typed(key, listValue, false)
	if v == nil {
		return
	}
	for i, item := range v.items {
		name := fmt.Sprintf("%s[%d]", key, i+1)
		if item.kind != textValue {
			o.complain(name, "must be %s, not %s", textValue, item.kind)
			continue
		}
		if t, ok := o.cleaned(name, item.text); ok {
			use(name, t)
		}
	}
}

const (
	optional = false
	required = true
)

// text gives the text under a key with control characters made spaces.
func (o *object) text(key string, required bool) string {
	v := o.typed(key, textValue, required)
	if v == nil {
		return ""
	}
	t, ok := o.cleaned(key, v.text)
	if ok && t == "" && required {
		o.complain(key, "must not be empty")
	}
	return t
}

func (o *object) cleaned(name, raw string) (string, bool) {
	t := clean(raw)
	if n := utf8.RuneCountInString(t); n > maxText {
		o.complain(name, "%d characters long; at most %d", n, maxText)
		return "", false
	}
	return t, true
}

func (o *object) flag(key string) bool {
	v := o.typed(key, boolValue, optional)
	return v != nil && v.text == "true"
}

// number gives the number under a key. ok tells that there is one, and that it
// lies from lo to hi; what names it in the complaint ("a latitude; give …").
func (o *object) number(key string, required bool, lo, hi float64, what string) (float64, bool) {
	v := o.typed(key, numberValue, required)
	if v == nil {
		return 0, false
	}
	f, err := strconv.ParseFloat(v.text, 64)
	if err != nil || math.IsNaN(f) || f < lo || f > hi {
		o.complain(key, "%s is not %s", cut(v.text, 40), what)
		return 0, false
	}
	return f, true
}

// whole gives the whole number under a key, 0 when there is none.
func (o *object) whole(key string, required bool, lo, hi int, what string) int {
	f, ok := o.number(key, required, float64(lo), float64(hi), what)
	if ok && f != math.Trunc(f) {
		o.complain(key, "%v is not %s", f, what)
		return 0
	}
	return int(f)
}

// money gives the amount under a key, never negative.
func (o *object) money(key string, required bool) Money {
	v := o.typed(key, numberValue, required)
	if v == nil {
		return 0
	}
	m, err := ParseMoney(v.text)
	switch {
	case err != nil:
		o.complain(key, "%s is not an amount; write a number with at most 2 decimals, such as 1250.50", cut(v.text, 40))
	case m < 0:
		o.complain(key, "%s is negative; give 0 or more", v.text)
	default:
		return m
	}
	return 0
}

func (o *object) date(key string, required bool) Date {
	v := o.typed(key, textValue, required)
	if v == nil || v.text == "" && !required {
		return Date{}
	}
	return o.parseDate(key, v.text)
}

func (o *object) dates(key string) []Date {
	var out []Date
	o.texts(key, func(name, text string) {
		if d := o.parseDate(name, text); !d.IsZero() {
			out = append(out, d)
		}
	})
	return out
}

// parseDate reads a date and refuses years that can only be slips of the pen.
func (o *object) parseDate(name, text string) Date {
	d, err := ParseDate(text)
	switch {
	case err != nil:
		o.complain(name, "%q is not a date; write it as 2027-04-14", cut(clean(text), 40))
	case d.Year < 2000 || d.Year > 2199:
		o.complain(name, "%s is not a year in which we lay roofs; give 2000 to 2199", text)
	default:
		return d
	}
	return Date{}
}

// done complains about double keys and about keys nobody asked for.
func (o *object) done() {
	seen := map[string]bool{}
	for _, k := range o.v.keys {
		switch {
		case o.row.full():
			return
		case seen[k]:
			o.complain(shown(k), "stands twice; keep one")
		case !hasWord(o.known, k):
			o.complain(shown(k), "unknown key%s", suggest(k, o.known))
		}
		seen[k] = true
	}
}

func hasWord(words []string, w string) bool {
	for _, x := range words {
		if x == w {
			return true
		}
	}
	return false
}

// maxText is the longest text of one field, in characters: a screenful.
const maxText = 500

// clean makes control characters, line ends and marks that turn the direction
// of writing into spaces, and trims: imported text ends up in mail headers and
// calendar lines.
func clean(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		turns := r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069
		if unicode.IsControl(r) || turns || unicode.In(r, unicode.Zl, unicode.Zp) {
			return ' '
		}
		return r
	}, s))
}

// cut shortens s to n characters for a message.
func cut(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return string([]rune(s)[:n]) + "…"
}

// shown makes a key of unknown origin fit for one line of a message.
func shown(key string) string {
	if k := cut(clean(key), 60); k != "" {
		return k
	}
	return `""`
}
