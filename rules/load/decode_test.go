package load

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"laycast/rules/datafile"
)

func TestBuiltInMaterials(t *testing.T) {
	m := BuiltIn()
	for _, v := range m.Values() {
		if v.Source == "" || v.Value == "" {
			t.Errorf("%+v has no source or no value", v)
		}
	}
	if r := m.Recipe(); len(r.Bands) != 5 || r.Resin.KgPerM2 != 1.125 || r.Density != 1.15 { // 0.45 x 2.5
		t.Errorf("%+v", r)
	}
}

func TestMaterialsProblems(t *testing.T) {
	for _, c := range []struct{ from, to, key, reason string }{
		{"  screws: 18 ", "  srews: 18 ", "board.srews", `did you mean "screws"`},
		{"  screws: 18 ", "  # gone ", "board.screws", "is missing"},
		{"  screws: 18 ", "  screws: many ", "board.screws", "a number from 0 to 100"},
		{"  lap: 0.05 ", "  lap: 0.04 ", "mat.lap", "a number from 0.05"},
		{"percent: 2.5}", "percent: 3.5}", "dose", "a colder deck takes more"},
		{"percent: 2.5}", "percent: 5}", "dose.percent", "a number from 1 to 4"},
		{"{from: 15, to: 22", "{from: 16, to: 22", "dose", "leave no gap"},
		{"{from: 15, to: 22", "{from: 15, to: 15", "dose", "the coldest comes first"},
		{"{from: 15, to: 22", "{form: 15, to: 22", "dose.form", `did you mean "from"`},
		{"  resin: {pack: 10} ", "  resin: {pack: 0} ", "packs.resin.pack", "a number from 0.01"},
		{"  resin: {pack: 10} ", "  resin: {pack: 10, price: 4.999} ", "packs.resin.price", "at most 2 decimals"},
		{"  resin: {pack: 10} ", "  resin: 10 ", "packs.resin", "is written as"},
		{"  resin: {pack: 10} ", "  raisin: {pack: 10} ", "packs.raisin", `did you mean "resin"`},
		{"{item: goggles, unit: pieces, per_hand: 1}", "{item: goggles, unit: pieces}", "kit", "says nowhere how many"},
		{"{item: goggles, unit: pieces, per_hand: 1}", "{item: gloves, unit: pieces, per_hand: 1}", "kit.item", "listed already"},
		{"{item: goggles, unit: pieces, per_hand: 1}", "{item: goggles, unit: pieces, per_hand: 1, when: never}", "kit.when", "not known"},
		{"name: general", "name: 7", "name", "must be text"},
		{"bandage:\n  roll", "bandages:\n  roll", "bandage", "is missing"},
	} {
		s := strings.Replace(string(YAML()), c.from, c.to, 1)
		if s == string(YAML()) {
			t.Fatalf("%q does not stand in the file", c.from)
		}
		_, err := Decode("mine.yaml", []byte(s))
		var e *datafile.Error
		if !errors.As(err, &e) {
			t.Errorf("%q: %v", c.to, err)
			continue
		}
		found := false
		for _, p := range e.Problems {
			found = found || p.Key == c.key && strings.Contains(p.Reason, c.reason) && p.Line > 0
		}
		if !found {
			t.Errorf("%q: want %s: … %s, got\n%v", c.to, c.key, c.reason, err)
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add(YAML())
	f.Add([]byte("dose: [{from: 1}]\npacks: {board: {pack: 1, price: [1]}}\nkit: [{item: x, per_job: -1}]\n"))
	f.Add([]byte("dose: &a [*a]\nkit: {a: b}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := Decode("f", data)
		var e *datafile.Error
		if err != nil {
			if !errors.As(err, &e) || len(e.Problems) == 0 || strings.ContainsAny(err.Error(), "\x00\x1b") {
				t.Fatalf("%q", err)
			}
			if !reflect.DeepEqual(m, Materials{}) {
				t.Fatal("materials beside an error")
			}
			return
		}
		for _, x := range m.fields() {
			if !(*x.into >= x.lo && *x.into <= x.hi) {
				t.Fatalf("%s.%s is %g", x.section, x.key, *x.into)
			}
		}
		for i, b := range m.Bands {
			if b.To <= b.From || i > 0 && (b.From != m.Bands[i-1].To || b.Pct > m.Bands[i-1].Pct) {
				t.Fatalf("bands %v", m.Bands)
			}
		}
	})
}
