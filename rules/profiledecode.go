package rules

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v4"

	"laycast/job"
)

// mostProfileBytes bounds the file of a profile; the built-in one has 5 kB.
const mostProfileBytes = 1 << 18

// ProfileProblem is one thing wrong with the file of a profile.
type ProfileProblem struct {
	Line   int    // 0 where it concerns the whole file
	Key    string // "work.strip", "limits.cure"
	Reason string // with the remedy
}

// ProfileError is all that is wrong with the file of a profile.
type ProfileError struct {
	File     string
	Problems []ProfileProblem
}

// Error gives a line for each problem.
func (e *ProfileError) Error() string {
	var lines []string
	for _, p := range e.Problems {
		s := e.File
		if p.Line > 0 {
			s += ":" + strconv.Itoa(p.Line)
		}
		if p.Key != "" {
			s += ": " + p.Key
		}
		lines = append(lines, s+": "+p.Reason)
	}
	return strings.Join(lines, "\n")
}

// DecodeProfile reads a profile from YAML; file names it in complaints. Every
// key must be there, and no other. The error is a *ProfileError that tells all
// that is wrong at once.
func DecodeProfile(file string, data []byte) (Profile, error) {
	d := profileDecoder{p: Profile{sources: map[string]string{}}}
	d.file(data)
	if len(d.problems) > 0 {
		slices.SortStableFunc(d.problems, func(a, b ProfileProblem) int { return a.Line - b.Line })
		return Profile{}, &ProfileError{File: file, Problems: d.problems}
	}
	return d.p, nil
}

type profileDecoder struct {
	p        Profile
	problems []ProfileProblem
}

func (d *profileDecoder) complain(line int, key, format string, args ...any) {
	d.problems = append(d.problems, ProfileProblem{line, key, fmt.Sprintf(format, args...)})
}

func (d *profileDecoder) file(data []byte) {
	if len(data) > mostProfileBytes {
		d.complain(0, "", "larger than %d kB; this is no profile", mostProfileBytes>>10)
		return
	}
	var doc yaml.Node
	if err := yaml.Load(data, &doc); err != nil {
		line := 0
		var at *yaml.LoadError
		if errors.As(err, &at) {
			line = at.Mark.Line
		}
		d.complain(line, "", "is not YAML (%s); indent with spaces, one profile in a file", printable(strings.TrimPrefix(err.Error(), "yaml: ")))
		return
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		d.complain(doc.Line, "", "must be `key: value` lines, as `laycast profile --yaml` prints them")
		return
	}
	root := d.keys("", doc.Content[0], []string{"name", "source", "day", "work", "cure", "limits"})
	d.p.Name = d.text(root, "name", "a short name")
	d.p.Source = d.text(root, "source", `where its values come from, such as "common practice, no source"`)
	d.numbers(root)
	d.limits(root)
	if d.p.SandableAge < d.p.SealedAge && len(d.problems) == 0 {
		d.complain(root.vals["cure"].Line, "cure.sandable", "is before sealed; a laminate is sealed first, so give at least %g", d.p.SealedAge)
	}
}

// mapping is a YAML mapping whose keys were looked through.
type mapping struct {
	path string
	line int
	vals map[string]*yaml.Node
}

// keys reads a mapping, complaining about keys that are unknown, doubled or
// missing.
func (d *profileDecoder) keys(path string, n *yaml.Node, known []string) mapping {
	m := mapping{path: path, line: n.Line, vals: map[string]*yaml.Node{}}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := n.Content[i]
		name := printable(k.Value)
		switch {
		case k.Kind != yaml.ScalarNode:
			d.complain(k.Line, strings.TrimSuffix(path, "."), "a key must be a plain word")
		case m.vals[k.Value] != nil:
			d.complain(k.Line, path+name, "stands twice (first at line %d); keep one", m.vals[k.Value].Line)
		case !slices.Contains(known, k.Value):
			d.complain(k.Line, path+name, "unknown key%s", nearest(k.Value, known))
		default:
			m.vals[k.Value] = n.Content[i+1]
		}
	}
	return m
}

func nearest(word string, known []string) string {
	if near := job.Nearest(printable(word), known); near != "" {
		return fmt.Sprintf("; did you mean %q?", near)
	}
	return "; known are " + strings.Join(known, ", ")
}

// get gives a key's value, nil (with a complaint) when there is none.
func (d *profileDecoder) get(m mapping, key, want string) *yaml.Node {
	v := m.vals[key]
	switch {
	case v == nil:
		d.complain(m.line, m.path+key, "is missing; give %s", want)
	case v.Kind == yaml.AliasNode:
		d.complain(v.Line, m.path+key, "is an alias (*); write the value out")
	case v.ShortTag() == "!!null":
		d.complain(v.Line, m.path+key, "has no value; give %s", want)
	default:
		return v
	}
	return nil
}

func (d *profileDecoder) text(m mapping, key, want string) string {
	v := d.get(m, key, want)
	switch {
	case v == nil:
	case v.Kind != yaml.ScalarNode || v.ShortTag() != "!!str":
		d.complain(v.Line, m.path+key, "must be text; give %s, in quotes where it looks like a number", want)
	case strings.TrimSpace(v.Value) == "" || strings.ContainsFunc(v.Value, unicode.IsControl):
		d.complain(v.Line, m.path+key, "must be one line of text; give %s", want)
	default:
		return strings.TrimSpace(v.Value)
	}
	return ""
}

// section gives the mapping under a key of the file.
func (d *profileDecoder) section(root mapping, key string, known []string) (mapping, bool) {
	v := d.get(root, key, "the section as `laycast profile --yaml` prints it")
	if v == nil {
		return mapping{}, false
	}
	if v.Kind != yaml.MappingNode {
		d.complain(v.Line, key, "must be a section with keys of its own: %s", strings.Join(known, ", "))
		return mapping{}, false
	}
	return d.keys(key+".", v, known), true
}

// numbers reads the sections day, work and cure.
func (d *profileDecoder) numbers(root mapping) {
	fields := d.p.fields()
	for _, name := range []string{"day", "work", "cure"} {
		var known []string
		for _, f := range fields {
			if f.section == name {
				known = append(known, f.key)
			}
		}
		if name == "day" {
			known = append(known, sealedByKey)
		}
		m, ok := d.section(root, name, known)
		if !ok {
			continue
		}
		for _, f := range fields {
			if f.section == name {
				d.number(m, f.key, f.into, f.lo, f.hi, f.unit)
			}
		}
		if name == "day" {
			d.timeOfDay(m, sealedByKey, &d.p.SealedBy)
		}
	}
}

// scalar gives the plain text of a value, which may stand alone or with its
// source.
func (d *profileDecoder) scalar(m mapping, key, want string) (*yaml.Node, bool) {
	v := d.get(m, key, want)
	if v == nil {
		return nil, false
	}
	if v.Kind == yaml.MappingNode {
		inner := d.keys(m.path+key+".", v, []string{"value", "source"})
		if inner.vals["source"] != nil {
			if s := d.text(inner, "source", "where the value comes from"); s != "" {
				d.p.sources[m.path+key] = s
			}
		}
		if v = d.get(inner, "value", want); v == nil {
			return nil, false
		}
	}
	if v.Kind != yaml.ScalarNode {
		d.complain(v.Line, m.path+key, "must be %s", want)
		return nil, false
	}
	return v, true
}

func (d *profileDecoder) number(m mapping, key string, into *float64, lo, hi float64, unit string) {
	want := fmt.Sprintf("a number from %g to %g (%s)", lo, hi, unit)
	if v, ok := d.scalar(m, key, want); ok {
		d.inRange(v, m.path+key, want, into, lo, hi)
	}
}

func (d *profileDecoder) inRange(v *yaml.Node, key, want string, into *float64, lo, hi float64) bool {
	x, err := strconv.ParseFloat(v.Value, 64)
	numeric := v.ShortTag() == "!!int" || v.ShortTag() == "!!float"
	if err != nil || !numeric || !(x >= lo && x <= hi) {
		d.complain(v.Line, key, "%q is not %s", shorten(v.Value), want)
		return false
	}
	*into = x + 0 // -0 reads as 0
	return true
}

func (d *profileDecoder) timeOfDay(m mapping, key string, into *job.TimeOfDay) {
	const want = `a time of day such as "20:00"`
	v, ok := d.scalar(m, key, want)
	if !ok {
		return
	}
	t, err := job.ParseTimeOfDay(v.Value)
	if err != nil || t > lastMinute || v.ShortTag() != "!!str" {
		d.complain(v.Line, m.path+key, "%q is not %s", shorten(v.Value), want)
		return
	}
	*into = t
}

// limits reads the sets of bounds.
func (d *profileDecoder) limits(root mapping) {
	sets := d.p.sets()
	var known []string
	for _, s := range sets {
		known = append(known, s.name)
	}
	m, ok := d.section(root, "limits", known)
	if !ok {
		return
	}
	for set, s := range sets {
		v := d.get(m, s.name, "a list of limits")
		if v == nil {
			continue
		}
		if v.Kind != yaml.SequenceNode || len(v.Content) == 0 {
			d.complain(v.Line, m.path+s.name, "must be a list such as `- {limit: wind, at_most: 10}`")
			continue
		}
		for _, n := range v.Content {
			b, ok := d.bound(m.path+s.name, n)
			switch {
			case ok && b.Limit == LimitDry && !asksDry(set):
				d.complain(n.Line, m.path+s.name, "a dry deck is asked for before primer, laminate and topcoat only; remove the line")
			case ok:
				d.add(m.path+s.name, n.Line, s.bounds, b)
			}
		}
	}
}

// add puts a bound into its set, unless it contradicts one that is there.
func (d *profileDecoder) add(key string, line int, set *[]Bound, b Bound) {
	for _, x := range *set {
		least, most := x, b
		if b.Least {
			least, most = b, x
		}
		switch {
		case x.Limit != b.Limit:
		case x.Least == b.Least:
			d.complain(line, key, "bounds %s twice on the same side; keep one", b.Limit)
			return
		case least.Value > most.Value:
			d.complain(line, key, "%s can never be at least %g and at most %g", b.Limit, least.Value, most.Value)
			return
		}
	}
	*set = append(*set, b)
}

// sides are the ways in which a limit bounds its measure.
var sides = map[string]Bound{
	"at_least": {Least: true}, "above": {Least: true, Strict: true}, "at_most": {}, "below": {Strict: true},
}

// bound reads one limit.
func (d *profileDecoder) bound(key string, n *yaml.Node) (Bound, bool) {
	if n.Kind != yaml.MappingNode {
		d.complain(n.Line, key, "each limit is written as `{limit: wind, at_most: 10}`")
		return Bound{}, false
	}
	sideNames := slices.Sorted(maps.Keys(sides))
	m := d.keys(key+".", n, append([]string{"limit", "source"}, sideNames...))
	name := d.text(m, "limit", "what it bounds")
	ms, ok := d.measure(key, n.Line, name)
	if !ok {
		return Bound{}, false
	}
	var b Bound
	var value *yaml.Node
	count := 0
	for _, side := range sideNames {
		if v := m.vals[side]; v != nil {
			b, value = sides[side], v
			count++
		}
	}
	b.Limit, b.Unit, b.Source = ms.limit, ms.unit, d.p.Source
	if m.vals["source"] != nil {
		b.Source = d.text(m, "source", "where the value comes from")
	}
	switch {
	case ms.limit == LimitDry && count == 0:
		return b, true
	case ms.limit == LimitDry:
		d.complain(value.Line, key, "a dry deck has no number; write {limit: dry deck}")
		return b, false
	case count != 1:
		d.complain(n.Line, key, "%s needs exactly one of %s", name, strings.Join(sideNames, ", "))
		return b, false
	}
	want := fmt.Sprintf("a number from %g to %g (%s) for %s", ms.lo, ms.hi, ms.unit, name)
	if value.Kind != yaml.ScalarNode {
		d.complain(value.Line, key, "must be %s", want)
		return b, false
	}
	return b, d.inRange(value, key, want, &b.Value, ms.lo, ms.hi)
}

func (d *profileDecoder) measure(key string, line int, name string) (measure, bool) {
	var known []string
	for _, m := range limitMeasures() {
		if string(m.limit) == name {
			return m, true
		}
		known = append(known, string(m.limit))
	}
	if name != "" {
		d.complain(line, key, "no limit is called %q%s", shorten(name), nearest(name, known))
	}
	return measure{}, false
}

// printable keeps a message on its line and short.
func printable(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
	return shorten(s)
}

func shorten(s string) string {
	if r := []rune(s); len(r) > 120 {
		return string(r[:120]) + "…"
	}
	return s
}
