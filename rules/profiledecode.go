package rules

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"

	"laycast/job"
	"laycast/rules/datafile"
)

// DecodeProfile reads a profile from YAML; file names it in complaints. Every
// key must be there, and no other. The error is a *datafile.Error that tells all
// that is wrong at once.
func DecodeProfile(file string, data []byte) (Profile, error) {
	d := profileDecoder{Reader: datafile.NewReader("profile", "laycast profile --yaml")}
	d.p.sources = d.Sources
	d.file(data)
	if err := d.Err(file); err != nil {
		return Profile{}, err
	}
	sum := sha256.Sum256(data)
	d.p.digest = hex.EncodeToString(sum[:8])
	return d.p, nil
}

type profileDecoder struct {
	*datafile.Reader
	p Profile
}

func (d *profileDecoder) file(data []byte) {
	root, ok := d.Root(data, []string{"name", "source", "day", "work", "cure", "limits"})
	if !ok {
		return
	}
	d.p.Name = d.Text(root, "name", "a short name")
	d.p.Source = d.Text(root, "source", `where its values come from, such as "common practice, no source"`)
	d.numbers(root)
	d.limits(root)
	if d.p.SandableAge < d.p.SealedAge && d.Clean() {
		d.Complain(root.Node("cure").Line, "cure.sandable", "is before sealed; a laminate is sealed first, so give at least %g", d.p.SealedAge)
	}
}

// numbers reads the sections day, work and cure.
func (d *profileDecoder) numbers(root datafile.Mapping) {
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
		m, ok := d.Section(root, name, known)
		if !ok {
			continue
		}
		for _, f := range fields {
			if f.section == name {
				d.Number(m, f.key, f.into, f.lo, f.hi, f.unit)
			}
		}
		if name == "day" {
			d.timeOfDay(m, sealedByKey, &d.p.SealedBy)
		}
	}
}

func (d *profileDecoder) timeOfDay(m datafile.Mapping, key string, into *job.TimeOfDay) {
	const want = `a time of day such as "20:00"`
	v, ok := d.Scalar(m, key, want)
	if !ok {
		return
	}
	t, err := job.ParseTimeOfDay(v.Value)
	if err != nil || t > lastMinute || v.ShortTag() != "!!str" {
		d.Complain(v.Line, m.Path+key, "%q is not %s", datafile.Shorten(v.Value), want)
		return
	}
	*into = t
}

// limits reads the sets of bounds.
func (d *profileDecoder) limits(root datafile.Mapping) {
	sets := d.p.sets()
	var known []string
	for _, s := range sets {
		known = append(known, s.name)
	}
	m, ok := d.Section(root, "limits", known)
	if !ok {
		return
	}
	for set, s := range sets {
		v := d.Get(m, s.name, "a list of limits")
		if v == nil {
			continue
		}
		if v.Kind != yaml.SequenceNode || len(v.Content) == 0 {
			d.Complain(v.Line, m.Path+s.name, "must be a list such as `- {limit: wind, at_most: 10}`")
			continue
		}
		for _, n := range v.Content {
			b, ok := d.bound(m.Path+s.name, n)
			switch {
			case ok && b.Limit == LimitDry && !asksDry(set):
				d.Complain(n.Line, m.Path+s.name, "a dry deck is asked for before primer, laminate and topcoat only; remove the line")
			case ok:
				d.add(m.Path+s.name, n.Line, s.bounds, b)
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
			d.Complain(line, key, "bounds %s twice on the same side; keep one", b.Limit)
			return
		case least.Value > most.Value:
			d.Complain(line, key, "%s can never be at least %g and at most %g", b.Limit, least.Value, most.Value)
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
		d.Complain(n.Line, key, "each limit is written as `{limit: wind, at_most: 10}`")
		return Bound{}, false
	}
	sideNames := slices.Sorted(maps.Keys(sides))
	m := d.Keys(key+".", n, append([]string{"limit", "source"}, sideNames...))
	name := d.Text(m, "limit", "what it bounds")
	ms, ok := d.measure(key, n.Line, name)
	if !ok {
		return Bound{}, false
	}
	var b Bound
	var value *yaml.Node
	count := 0
	for _, side := range sideNames {
		if v := m.Node(side); v != nil {
			b, value = sides[side], v
			count++
		}
	}
	b.Limit, b.Unit, b.Source = ms.limit, ms.unit, d.p.Source
	if m.Node("source") != nil {
		b.Source = d.Text(m, "source", "where the value comes from")
	}
	switch {
	case ms.limit == LimitDry && count == 0:
		return b, true
	case ms.limit == LimitDry:
		d.Complain(value.Line, key, "a dry deck has no number; write {limit: dry deck}")
		return b, false
	case count != 1:
		d.Complain(n.Line, key, "%s needs exactly one of %s", name, strings.Join(sideNames, ", "))
		return b, false
	}
	want := fmt.Sprintf("a number from %g to %g (%s) for %s", ms.lo, ms.hi, ms.unit, name)
	if value.Kind != yaml.ScalarNode {
		d.Complain(value.Line, key, "must be %s", want)
		return b, false
	}
	return b, d.InRange(value, key, want, &b.Value, ms.lo, ms.hi)
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
		d.Complain(line, key, "no limit is called %q%s", datafile.Shorten(name), datafile.Nearest(name, known))
	}
	return measure{}, false
}
