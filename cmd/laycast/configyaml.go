package main

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v4"

	"laycast/job"
)

// yamlSection reads the keys of one YAML mapping, notes what is wrong with each and
// which keys it was asked for, so that done can name the unknown ones. A
// section that is not there reads as empty.
type yamlSection struct {
	l     *configLoader
	path  string // "" or "firm."
	line  int    // where it begins, for what is missing
	gone  bool   // was missing or of the wrong type: complained about already
	known []string
	hints map[string]string // remedies for particular unknown keys
	keys  []*yaml.Node
	vals  []*yaml.Node
}

// root reads the file into its outermost mapping.
func (l *configLoader) root(data []byte) (*yamlSection, bool) {
	complain := func(line int, format string, args ...any) {
		l.problems = append(l.problems, ConfigProblem{Line: line, Reason: fmt.Sprintf(format, args...)})
	}
	if len(data) > maxConfigBytes {
		complain(0, "larger than %d kB; this is no configuration file", maxConfigBytes>>10)
		return nil, false
	}
	var doc yaml.Node
	if err := yaml.Load(data, &doc); err != nil {
		var at *yaml.LoadError
		if errors.As(err, &at) {
			complain(at.Mark.Line, "%s", yamlReason(at.Message))
		} else {
			complain(0, "%s", yamlReason(err.Error()))
		}
		return nil, false
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		complain(doc.Line, "must be `key: value` lines; see deploy/laycast.example.yaml")
		return nil, false
	}
	return l.newSection("", doc.Content[0]), true
}

func yamlReason(msg string) string {
	msg = oneLine(strings.TrimPrefix(msg, "yaml: "))
	switch {
	case strings.Contains(msg, "no documents"):
		return "is empty; write one with `laycast init`"
	case strings.Contains(msg, "found multiple"):
		return "holds several documents; remove the lines with `---`"
	case strings.Contains(msg, "tab character"), strings.Contains(msg, "cannot start any token"):
		return "is not YAML here (" + msg + "); indent with spaces, never tabs, and put text with special characters in quotes"
	}
	return "is not YAML: " + msg
}

func (l *configLoader) newSection(path string, n *yaml.Node) *yamlSection {
	s := &yamlSection{l: l, path: path, line: n.Line, hints: map[string]string{}}
	for i := 0; i+1 < len(n.Content); i += 2 {
		s.keys, s.vals = append(s.keys, n.Content[i]), append(s.vals, n.Content[i+1])
	}
	return s
}

func (s *yamlSection) at(line int, key, format string, args ...any) {
	s.l.problems = append(s.l.problems, ConfigProblem{line, s.path + key, fmt.Sprintf(format, args...)})
}

// complain notes a problem at the line of the key's value, or at the section's
// where the key is not there.
func (s *yamlSection) complain(key, format string, args ...any) {
	line := s.line
	if v := s.find(key); v != nil {
		line = v.Line
	}
	s.at(line, key, format, args...)
}

func (s *yamlSection) complained(key string) bool {
	for _, p := range s.l.problems {
		if p.Key == s.path+key {
			return true
		}
	}
	return false
}

func (s *yamlSection) find(key string) *yaml.Node {
	for i, k := range s.keys {
		if k.Kind == yaml.ScalarNode && k.Value == key {
			return s.vals[i]
		}
	}
	return nil
}

// has reports whether the file gives the key a value of any type.
func (s *yamlSection) has(key string) bool {
	v := s.find(key)
	return v != nil && v.ShortTag() != "!!null"
}

// take gives the value of a key, nil when it is absent.
func (s *yamlSection) take(key string, required bool, want string) *yaml.Node {
	s.known = append(s.known, key)
	v := s.find(key)
	switch {
	case v == nil && required && !s.gone:
		s.complain(key, "is missing; give %s", want)
	case v == nil:
	case v.Kind == yaml.AliasNode:
		s.complain(key, "is an alias (*); write the value out")
	case v.ShortTag() == "!!null":
		s.complain(key, "has no value; give %s, or remove the line", want)
	default:
		return v
	}
	return nil
}

// scalar gives the plain text of a key's value, whatever YAML takes it for.
func (s *yamlSection) scalar(key, want string) (string, bool) {
	v := s.take(key, false, want)
	if v == nil {
		return "", false
	}
	if v.Kind != yaml.ScalarNode {
		s.complain(key, "must be %s, not %s", want, kindOf(v))
		return "", false
	}
	s.mark(key)
	return v.Value, true
}

// mark notes that the file sets the key.
func (s *yamlSection) mark(key string) { s.l.set = append(s.l.set, s.path+key) }

func (s *yamlSection) text(key string, into *string, required bool) {
	v := s.take(key, required, "text")
	if v == nil {
		return
	}
	switch {
	case v.Kind != yaml.ScalarNode || v.ShortTag() == "!!binary":
		s.complain(key, "must be text, not %s", kindOf(v))
	case v.ShortTag() != "!!str":
		s.complain(key, "must be text, not %s; put it in quotes", kindOf(v))
	case strings.ContainsFunc(v.Value, unicode.IsControl):
		s.complain(key, "holds a line end or another control character; write it on one line")
	case required && strings.TrimSpace(v.Value) == "":
		s.complain(key, "is empty; give text")
	default:
		s.mark(key)
		*into = strings.TrimSpace(v.Value)
	}
}

// checked reads a text and has it looked at; "" passes.
func (s *yamlSection) checked(key string, into *string, check func(string) error) {
	v := ""
	s.text(key, &v, false)
	if v == "" {
		return
	}
	*into = v
	if err := check(v); err != nil {
		s.complain(key, "%v", err)
	}
}

func (s *yamlSection) oneOf(key string, into *string, known ...string) {
	v, ok := s.scalar(key, strings.Join(known, " or "))
	if !ok {
		return
	}
	for _, k := range known {
		if v == k {
			*into = v
			return
		}
	}
	s.complain(key, "%q is not offered; give %s", shorten(v), strings.Join(known, " or "))
}

func (s *yamlSection) whole(key string, into *int, lo, hi int) {
	want := fmt.Sprintf("a whole number from %d to %d", lo, hi)
	v, ok := s.scalar(key, want)
	if !ok {
		return
	}
	n, err := strconv.Atoi(v)
	if err != nil || n < lo || n > hi {
		s.complain(key, "%q is not %s", shorten(v), want)
		return
	}
	*into = n
}

func (s *yamlSection) number(key string, into *float64, lo, hi float64) {
	want := fmt.Sprintf("a number from %g to %g", lo, hi)
	v, ok := s.scalar(key, want)
	if !ok {
		return
	}
	f, err := strconv.ParseFloat(v, 64)
	if err != nil || !(f >= lo && f <= hi) {
		s.complain(key, "%q is not %s", shorten(v), want)
		return
	}
	*into = f
}

func (s *yamlSection) money(key string, into *job.Money) {
	v, ok := s.scalar(key, "an amount such as 12.50")
	if !ok {
		return
	}
	m, err := job.ParseMoney(v)
	switch {
	case err != nil:
		s.complain(key, "%q is not an amount; write a number with at most 2 decimals, such as 12.50", shorten(v))
	case m < 0:
		s.complain(key, "%s is negative; give 0 or more", v)
	default:
		*into = m
	}
}

// list gives the nodes of a list of scalars, or of lists when inner is set.
func (s *yamlSection) list(key, want string, inner yaml.Kind) ([]*yaml.Node, bool) {
	v := s.take(key, false, want)
	if v == nil {
		return nil, false
	}
	if v.Kind != yaml.SequenceNode {
		s.complain(key, "must be a list of %s, not %s", want, kindOf(v))
		return nil, false
	}
	for _, n := range v.Content {
		if n.Kind != inner {
			s.at(n.Line, key, "must be a list of %s; %s is none", want, kindOf(n))
			return nil, false
		}
	}
	s.mark(key)
	return v.Content, true
}

// section gives the mapping under a key, an empty one when it is not there.
func (s *yamlSection) section(key string, required bool) *yamlSection {
	v := s.take(key, required, "a section as in deploy/laycast.example.yaml")
	if v != nil && v.Kind == yaml.MappingNode {
		return s.l.newSection(s.path+key+".", v)
	}
	if v != nil {
		s.complain(key, "must be a section with keys of its own, not %s", kindOf(v))
	}
	return &yamlSection{l: s.l, path: s.path + key + ".", line: s.line, gone: true, hints: map[string]string{}}
}

// sections gives one mapping, or the mappings of a list.
func (s *yamlSection) sections(key string) []*yamlSection {
	v := s.take(key, true, "a section as in deploy/laycast.example.yaml")
	switch {
	case v == nil:
		return nil
	case v.Kind == yaml.MappingNode:
		return []*yamlSection{s.l.newSection(s.path+key+".", v)}
	case v.Kind != yaml.SequenceNode || len(v.Content) == 0:
		s.complain(key, "must be a section, or a list of sections in order of preference, not %s", kindOf(v))
		return nil
	}
	var out []*yamlSection
	for i, n := range v.Content {
		if n.Kind != yaml.MappingNode {
			s.at(n.Line, key, "must be a list of sections; %s is none", kindOf(n))
			continue
		}
		out = append(out, s.l.newSection(fmt.Sprintf("%s%s[%d].", s.path, key, i+1), n))
	}
	return out
}

// hint gives the remedy for a key that people will try and that is not known.
func (s *yamlSection) hint(key, remedy string) { s.hints[key] = remedy }

// done complains about double keys and about keys nobody asked for.
func (s *yamlSection) done() {
	first := map[string]int{}
	for _, k := range s.keys {
		name := oneLine(shorten(k.Value))
		switch {
		case k.Kind != yaml.ScalarNode:
			s.at(k.Line, "", "a key must be a plain word, not %s", kindOf(k))
			continue
		case first[k.Value] > 0:
			s.at(k.Line, name, "stands twice (first at line %d); keep one", first[k.Value])
			continue
		case s.hints[k.Value] != "":
			s.at(k.Line, name, "%s", s.hints[k.Value])
		case !slices.Contains(s.known, k.Value):
			s.at(k.Line, name, "unknown key%s", suggestKey(k.Value, s.known))
		}
		first[k.Value] = k.Line
	}
}

// suggestKey gives the nearest known word, or all of them when none is near.
func suggestKey(word string, known []string) string {
	if near := job.Nearest(word, known); near != "" {
		return fmt.Sprintf("; did you mean %q?", near)
	}
	return "; known are " + strings.Join(known, ", ")
}

func kindOf(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a section"
	case yaml.SequenceNode:
		return "a list"
	case yaml.AliasNode:
		return "an alias"
	}
	switch n.ShortTag() {
	case "!!str":
		return "text"
	case "!!int", "!!float":
		return "a number"
	case "!!bool":
		return "true or false"
	case "!!timestamp":
		return "a date"
	case "!!null":
		return "nothing"
	}
	return "something else"
}

// shorten cuts a value for a message.
func shorten(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

// oneLine keeps a message on its line.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s)
}
