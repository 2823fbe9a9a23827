package laycast_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// licenceOf names a licence by sentences that stand in it; "" is none that we know.
func licenceOf(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	for _, l := range []struct {
		name string
		says []string
	}{
		{"Apache-2.0", []string{"Apache License", "Version 2.0"}},
		{"MPL-2.0", []string{"Mozilla Public License Version 2.0"}},
		{"BSD-3-Clause", []string{"Redistribution and use in source and binary forms", "endorse or promote products"}},
		{"BSD-2-Clause", []string{"Redistribution and use in source and binary forms"}},
		{"MIT", []string{"Permission is hereby granted, free of charge"}},
		{"ISC", []string{"Permission to use, copy, modify, and/or distribute"}},
	} {
		if !slices.ContainsFunc(l.says, func(s string) bool { return !strings.Contains(text, s) }) {
			return l.name
		}
	}
	return ""
}

// moduleDirs gives where each module lies that the program is made of, or that
// go.mod names for its tests.
func moduleDirs(t *testing.T) map[string]string {
	t.Helper()
	out := map[string]string{}
	list := func(args ...string) *json.Decoder {
		b, err := exec.Command("go", append([]string{"list"}, args...)...).Output()
		if err != nil {
			t.Fatalf("go list %v: %v", args, err)
		}
		return json.NewDecoder(bytes.NewReader(b))
	}
	type mod struct {
		Path, Dir      string
		Main, Indirect bool
	}
	for dec := list("-m", "-json", "all"); ; {
		var m mod
		if err := dec.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if !m.Main && !m.Indirect {
			out[m.Path] = m.Dir
		}
	}
	for dec := list("-deps", "-json=Module", "./cmd/laycast"); ; {
		var p struct{ Module *mod }
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if p.Module != nil && !p.Module.Main {
			out[p.Module.Path] = p.Module.Dir
		}
	}
	return out
}

func securityPage(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("docs/security.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// Every module that the program is made of, or that go.mod names, stands in the
// table with the licence that its own files bear, and no other does.
func TestLicencesAreWhatTheTableSays(t *testing.T) {
	t.Parallel()
	told := map[string]string{}
	row := regexp.MustCompile("(?m)^\\| `([^`]+\\.[^`]+/[^`]+)` \\| ([A-Za-z0-9.-]+) \\|")
	for _, m := range row.FindAllStringSubmatch(securityPage(t), -1) {
		told[m[1]] = m[2]
	}
	mods := moduleDirs(t)
	if len(mods) < 20 {
		t.Fatalf("only %d modules were found", len(mods))
	}
	for path, dir := range mods {
		if dir == "" {
			t.Logf("%s is not here, so its licence was not read: go mod download", path)
			continue
		}
		var found string
		for _, pattern := range []string{"LICENSE*", "LICENCE*", "COPYING*"} {
			files, err := filepath.Glob(filepath.Join(dir, pattern))
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range files {
				if b, err := os.ReadFile(f); err == nil && found == "" {
					found = licenceOf(string(b))
				}
			}
		}
		switch {
		case found == "":
			t.Errorf("%s has no licence that this test knows, in %s", path, dir)
		case told[path] != found:
			t.Errorf("docs/security.md has %q as the licence of %s, whose files say %s", told[path], path, found)
		}
	}
	for path := range told {
		if _, there := mods[path]; !there {
			t.Errorf("docs/security.md tells of %s, of which nothing is used", path)
		}
	}
}

// Every test that the page names is there.
func TestSecurityPageNamesRealTests(t *testing.T) {
	t.Parallel()
	there := map[string]bool{}
	def := regexp.MustCompile(`^func ((?:Test|Fuzz)\w+)\(`)
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer func() { _ = f.Close() }()
		lines := bufio.NewScanner(f)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			if m := def.FindStringSubmatch(lines.Text()); m != nil {
				there[m[1]] = true
			}
		}
		return lines.Err()
	})
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile("`((?:Test|Fuzz)\\w+)").FindAllStringSubmatch(securityPage(t), -1)
	if len(named) < 20 {
		t.Fatalf("the page names only %d tests", len(named))
	}
	for _, m := range named {
		if !there[m[1]] {
			t.Errorf("docs/security.md names %s, which is nowhere", m[1])
		}
	}
}
