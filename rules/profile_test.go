package rules

import (
	"errors"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"laycast/rules/datafile"
)

// TestBuiltInProfile holds the file against the table of the plan of record,
// written out once more.
func TestBuiltInProfile(t *testing.T) {
	want := map[string]string{
		"day.set_up": "30", "day.break": "30", "day.clear_up": "30", "day.night_joint": "30", "day.third_hand": "0.4", "day.slow_median": "1.2",
		"day.slow_sd": "0.2", "day.sealed_by": "20:00", "day.heat_before": "40",
		"work.strip": "10", "work.deck": "8", "work.trim": "3", "work.outlet": "20", "work.bandage": "1.5", "work.laminate": "14", "work.sand": "40", "work.topcoat": "20",
		"cure.energy": "50", "cure.sealed": "0.75", "cure.sandable": "1", "cure.rainproof": "2", "cure.overcoat": "48", "cure.frost_free": "14",
	}
	p := Polyester()
	seen := 0
	for _, v := range p.Values() {
		if w, ok := want[v.Key]; ok {
			seen++
			if v.Value != w {
				t.Errorf("%s is %s, want %s", v.Key, v.Value, w)
			}
		}
		if v.Source == "" {
			t.Errorf("%s has no source", v.Key)
		}
	}
	if seen != len(want) {
		t.Errorf("%d of %d values are printed", seen, len(want))
	}
	for _, s := range p.Sets() {
		if len(s.Bounds) == 0 {
			t.Errorf("%s has no limits", s.Name)
		}
		for _, b := range s.Bounds {
			if b.Source == "" || b.Unit == "" {
				t.Errorf("%s: %+v lacks source or unit", s.Name, b)
			}
		}
	}
	if v := p.value("cure.energy", "", ""); !strings.Contains(v.Source, "grade S") {
		t.Errorf("source of the activation energy: %q", v.Source)
	}
}

// TestPolyesterIsTheCallersOwn: what one caller does to his profile no other
// sees.
func TestPolyesterIsTheCallersOwn(t *testing.T) {
	p := Polyester()
	p.Laminating[0].Value = 99
	p.Setup = 1
	if q := Polyester(); q.Laminating[0].Value == 99 || q.Setup == 1 {
		t.Error("the built-in profile was changed")
	}
}

// TestProfilesNamed: the house's own beside the built-in one.
func TestProfilesNamed(t *testing.T) {
	own := Polyester()
	own.Name, own.Setup = "winter", 45
	ps := Profiles{"winter": own}
	if p, err := ps.Named("winter"); err != nil || p.Setup != 45 {
		t.Errorf("winter: %v, set up %g", err, p.Setup)
	}
	if p, err := ps.Named(""); err != nil || p.Setup != 30 {
		t.Errorf("the usual: %v, set up %g", err, p.Setup)
	}
	if _, err := ps.Named("tar"); err == nil || !strings.Contains(err.Error(), "polyester, winter") {
		t.Errorf("tar: %v", err)
	}
}

// change gives the built-in file with one text put in place of another.
func change(t *testing.T, from, to string) []byte {
	t.Helper()
	s := string(PolyesterYAML())
	if !strings.Contains(s, from) {
		t.Fatalf("the profile's file does not hold %q", from)
	}
	return []byte(strings.Replace(s, from, to, 1))
}

func TestChangedProfile(t *testing.T) {
	p, err := DecodeProfile("mine.yaml", change(t, "  strip: 10 ", `  strip: {value: 6.5, source: "our own record"}`))
	if err != nil || p.StripRate != 6.5 {
		t.Fatalf("%v, strip %g", err, p.StripRate)
	}
	if v := p.value("work.strip", "", ""); v.Source != "our own record" {
		t.Errorf("source %q", v.Source)
	}
}

func TestProfileProblems(t *testing.T) {
	for _, c := range []struct{ from, to, key, reason string }{
		{"  strip: 10 ", "  stripp: 10 ", "work.stripp", `did you mean "strip"`},
		{"  strip: 10 ", "  # gone ", "work.strip", "is missing"},
		{"  strip: 10 ", "  strip: quick ", "work.strip", "a number from"},
		{"  strip: 10 ", "  strip: '10' ", "work.strip", "a number from"},
		{"  strip: 10 ", "  strip: .nan ", "work.strip", "a number from"},
		{"  strip: 10 ", "  strip: 0 ", "work.strip", "a number from"},
		{"  strip: 10 ", "  strip: [10] ", "work.strip", "must be"},
		{"  strip: 10 ", "  strip: ", "work.strip", "has no value"},
		{"  strip: 10 ", "  strip: {value: 10, soruce: x} ", "work.strip.soruce", `did you mean "source"`},
		{"  strip: 10 ", "  strip: 10\n  strip: 11 ", "work.strip", "stands twice"},
		{`"20:00"`, `"25:00"`, "day.sealed_by", "a time of day"},
		{"name: polyester", "name: 7", "name", "must be text"},
		{"name: polyester", "nam: polyester", "name", "is missing"},
		{"at_most: 0.2", "at_most: -1", "limits.strip and deck", "a number from 0 to 50 (mm)"},
		{"at_most: 0.2", "at_most: 0.2, below: 1", "limits.strip and deck", "exactly one of"},
		{"at_most: 0.2", "under: 0.2", "limits.strip and deck.under", "unknown key"},
		{"limit: frost", "limit: frots", "limits.strip and deck", `did you mean "frost"`},
		{"{limit: gust, at_most: 15}", "{limit: wind, at_most: 15}", "limits.strip and deck", "twice on the same side"},
		{"{limit: air, at_least: 5}", "{limit: air, at_least: 31}", "limits.primer", "can never be at least 31 and at most 30"},
		{"{limit: dry deck}", "{limit: dry deck, at_most: 1}", "limits.primer", "has no number"},
		{"  cure:\n    - {limit: rain, below: 0.1}", "  cure:\n    - {limit: dry deck}", "limits.cure", "before primer, laminate and topcoat only"},
		{"  sealed: 0.75 ", "  sealed: 5 ", "cure.sandable", "is before sealed"},
	} {
		_, err := DecodeProfile("mine.yaml", change(t, c.from, c.to))
		var e *datafile.Error
		if !errors.As(err, &e) {
			t.Errorf("%q for %q: %v", c.to, c.from, err)
			continue
		}
		found := false
		for _, p := range e.Problems {
			found = found || p.Key == c.key && strings.Contains(p.Reason, c.reason) && p.Line > 0
		}
		if !found {
			t.Errorf("%q for %q: want %s: … %s, got\n%v", c.to, c.from, c.key, c.reason, err)
		}
	}
}

// TestAllProblemsAtOnce: each with the line it stands on.
func TestAllProblemsAtOnce(t *testing.T) {
	s := string(PolyesterYAML())
	for from, to := range map[string]string{"  trim: 3 ": "  trim: x ", "  outlet: 20 ": "  outlett: 20 ", "at_most: 85": "at_most: 850", "day:\n": "day:\n  tea: 5\n"} {
		s = strings.Replace(s, from, to, 1)
	}
	_, err := DecodeProfile("mine.yaml", []byte(s))
	if err == nil {
		t.Fatal("no complaint")
	}
	lines := strings.Split(s, "\n")
	for _, want := range []string{"trim: x", "outlett", "at_most: 850", "tea: 5"} {
		ok := false
		for _, l := range strings.Split(err.Error(), "\n") {
			if m := regexp.MustCompile(`^mine\.yaml:(\d+): `).FindStringSubmatch(l); m != nil {
				n, _ := strconv.Atoi(m[1])
				ok = ok || strings.Contains(lines[n-1], want)
			}
		}
		if !ok {
			t.Errorf("no complaint at the line of %q:\n%v", want, err)
		}
	}
}

func TestNoProfileAtAll(t *testing.T) {
	for _, s := range []string{"", "---\n", "a\n", "- a\n", "\tname: x", "name: [", "name: x\n---\nname: y\n", "? [a]\n: b\n", strings.Repeat("#", datafile.MostBytes+1)} {
		var e *datafile.Error
		if _, err := DecodeProfile("mine.yaml", []byte(s)); !errors.As(err, &e) || len(e.Problems) == 0 {
			t.Errorf("%.20q: %v", s, err)
		}
	}
}

func FuzzDecodeProfile(f *testing.F) {
	f.Add(PolyesterYAML())
	f.Add([]byte("name: x\nday: {set_up: {value: 1, value: 2}}\nlimits: {cure: [{limit: rain}]}\n"))
	f.Add([]byte("a: &a [*a]\n"))
	f.Add([]byte("? {a: b}\n: c\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := DecodeProfile("f", data)
		var e *datafile.Error
		if err != nil {
			if !errors.As(err, &e) || len(e.Problems) == 0 || strings.ContainsAny(strings.ReplaceAll(err.Error(), "\n", ""), "\x00\x1b") {
				t.Fatalf("%q", err)
			}
			if !reflect.DeepEqual(p, Profile{}) {
				t.Fatal("a profile beside an error")
			}
			return
		}
		for _, x := range p.fields() {
			if !(*x.into >= x.lo && *x.into <= x.hi) {
				t.Fatalf("%s.%s is %g", x.section, x.key, *x.into)
			}
		}
	})
}
