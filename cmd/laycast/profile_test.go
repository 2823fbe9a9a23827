package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"laycast/rules"
)

// printed runs the profile command and gives what it printed.
func printed(t *testing.T, c profileCmd) string {
	t.Helper()
	var out bytes.Buffer
	if err := c.Run(&session{world: world{Out: &out, Err: &out}}); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func TestProfilePrintsEveryValueWithItsSource(t *testing.T) {
	text := printed(t, profileCmd{})
	for _, want := range []string{"work.strip", "10 m²/h", "day.sealed_by", "20:00", "cure.energy", "grade S", "common practice, no source",
		"\nprimer\n", "at most 0.2 mm", "less than 0.1 mm", "no water on the deck", "data sheet governs"} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q:\n%s", want, text)
		}
	}
	var j profileJSON
	if err := json.Unmarshal([]byte(printed(t, profileCmd{JSON: true})), &j); err != nil {
		t.Fatal(err)
	}
	if j.Name != "polyester" || len(j.Values) != len(rules.Polyester().Values()) {
		t.Errorf("%s with %d values", j.Name, len(j.Values))
	}
	for _, l := range j.Limits {
		if l.Source == "" || l.Set == "" || l.Bound == "" {
			t.Errorf("limit %+v", l)
		}
	}
}

// TestCopiedProfile: what --yaml prints is a profile that can be changed and
// read back.
func TestCopiedProfile(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	text := printed(t, profileCmd{YAML: true})
	mine := write("winter.yaml", strings.NewReplacer("name: polyester", "name: winter", "sealed: 0.75", "sealed: 0.9").Replace(text))
	if got := printed(t, profileCmd{File: mine}); !strings.Contains(got, "0.9 h at 20 °C") || !strings.HasPrefix(got, "winter:") {
		t.Errorf("printed\n%s", got)
	}
	ps, err := loadProfiles(dir)
	if err != nil {
		t.Fatal(err)
	}
	if p, err := ps.Named("winter"); err != nil || p.SealedAge != 0.9 {
		t.Errorf("%v, sealed at %g h", err, p.SealedAge)
	}
	write("again.yaml", strings.Replace(text, "name: polyester", "name: winter", 1))
	write("built-in.yaml", text)
	write("broken.yaml", strings.Replace(text, "name: polyester", "name: broken\nteh: 1", 1))
	_, err = loadProfiles(dir)
	if err == nil {
		t.Fatal("no complaint")
	}
	for _, want := range []string{`the name "winter" is taken by`, `the name "polyester" is taken by the built-in one`, "broken.yaml:", "unknown key"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("lacks %q:\n%v", want, err)
		}
	}
	if _, err := loadProfiles(filepath.Join(dir, "none")); err == nil {
		t.Error("no complaint about a folder that is not there")
	}
}
