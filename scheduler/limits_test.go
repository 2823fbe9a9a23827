package scheduler

import (
	"strings"
	"testing"

	"laycast/job"
	"laycast/rules"
)

// TestLimitsMadeOnPages: they are found by name after those of files, and a
// changed text is another profile, so that nothing kept by the old one is used.
func TestLimitsMadeOnPages(t *testing.T) {
	text := func(name, wind string) string {
		s := strings.Replace(string(rules.PolyesterYAML()), "name: polyester", "name: "+name, 1)
		return strings.Replace(s, "at_most: 10", "at_most: "+wind, 1)
	}
	file, err := rules.DecodeProfile("file", []byte(text("house", "9")))
	if err != nil {
		t.Fatal(err)
	}
	s := New(Config{Profiles: rules.Profiles{"house": file}})
	f := job.Firm{Profiles: map[string]string{"mine": text("mine", "8"), "house": text("house", "7"), "polyester": text("polyester", "6"), "broken": "name: broken"}}
	get := func(name string) rules.Profile {
		t.Helper()
		p, err := s.profile(f, name)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	if p := get("house"); p.Key() != file.Key() {
		t.Errorf("the file's limits come first: %s", p.Key())
	}
	if p := get("polyester"); p.Key() != rules.Polyester().Key() {
		t.Errorf("the built-in limits are what they are: %s", p.Key())
	}
	before := get("mine")
	if get("mine").Key() != before.Key() {
		t.Error("the same text is the same profile")
	}
	f.Profiles["mine"] = text("mine", "7.5")
	if after := get("mine"); after.Key() == before.Key() || after.Name != before.Name {
		t.Errorf("changed limits are still %s", after.Key())
	}
	for _, name := range []string{"broken", "none"} {
		if _, err := s.profile(f, name); err == nil {
			t.Errorf("%s: no complaint", name)
		}
	}
}
