package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"laycast/rules"
)

type profileCmd struct {
	Name string `arg:"" optional:"" help:"Name of the profile." default:"polyester"`
	File string `help:"Read the profile from this file instead, and say all that is wrong with it." placeholder:"FILE"`
	YAML bool   `name:"yaml" help:"Print the built-in profile's file, to be copied and changed."`
	JSON bool   `help:"Print JSON."`
}

// Run prints the values of a profile, each with its source.
func (c *profileCmd) Run(s *session) error {
	if c.YAML {
		s.printf("%s", rules.PolyesterYAML())
		return nil
	}
	p, err := rules.ProfileNamed(c.Name)
	if c.File != "" {
		p, err = readProfile(c.File)
	}
	if err != nil {
		return err
	}
	if c.JSON {
		return s.printJSON(profileToJSON(p))
	}
	printProfile(s, p)
	return nil
}

// readProfile reads one profile from a file.
func readProfile(path string) (rules.Profile, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return rules.Profile{}, fmt.Errorf("read the profile: %w", err)
	}
	return rules.DecodeProfile(path, data)
}

// loadProfiles reads every *.yaml file of a folder as a profile. The error
// tells all that is wrong with all of them.
func loadProfiles(folder string) (rules.Profiles, error) {
	if _, err := os.Stat(folder); err != nil {
		return nil, fmt.Errorf("look for profiles: %w", err)
	}
	paths, err := filepath.Glob(filepath.Join(folder, "*.yaml"))
	if err != nil {
		return nil, fmt.Errorf("look for profiles in %s: %w", folder, err)
	}
	out, from := rules.Profiles{}, map[string]string{rules.Polyester().Name: "the built-in one"}
	var wrong []error
	for _, path := range paths {
		p, err := readProfile(path)
		switch {
		case err != nil:
			wrong = append(wrong, err)
		case from[p.Name] != "":
			wrong = append(wrong, fmt.Errorf("%s: the name %q is taken by %s; give it a name of its own", path, p.Name, from[p.Name]))
		default:
			out[p.Name], from[p.Name] = p, path
		}
	}
	if len(wrong) > 0 {
		return nil, errors.Join(wrong...)
	}
	return out, nil
}

// printProfile prints the effective values as a table.
func printProfile(s *session, p rules.Profile) {
	s.printf("%s: the resin maker's data sheet governs; local codes and licensed practice too.\nRates are for a pair; a third hand adds %.0f %%; nobody laminates alone.\n\n", p.Name, p.ThirdHand*100)
	for _, v := range p.Values() {
		s.printf("  %-16s %8s %-17s %s\n", v.Key, v.Value, v.Unit, v.Source)
	}
	for _, set := range p.Sets() {
		s.printf("\n%s\n", set.Name)
		for _, b := range set.Bounds {
			if b.Limit == rules.LimitDry {
				s.printf("  %-16s %-26s %s\n", b.Limit, "no water on the deck", b.Source)
				continue
			}
			s.printf("  %-16s %-26s %s\n", b.Limit, fmt.Sprintf("%s %.4g %s", b.Side(), b.Value, b.Unit), b.Source)
		}
	}
}

// The JSON of `profile`.
type profileJSON struct {
	Name   string      `json:"name"`
	Values []valueJSON `json:"values"`
	Limits []limitJSON `json:"limits"`
}

type valueJSON struct {
	Key    string `json:"key"`
	Value  string `json:"value"`
	Unit   string `json:"unit"`
	Source string `json:"source"`
}

type limitJSON struct {
	Set    string      `json:"set"`
	Limit  rules.Limit `json:"limit"`
	Bound  string      `json:"bound"` // "at most", "less than", "at least", "more than"
	Value  float64     `json:"value"`
	Unit   string      `json:"unit"`
	Source string      `json:"source"`
}

func profileToJSON(p rules.Profile) profileJSON {
	out := profileJSON{Name: p.Name}
	for _, v := range p.Values() {
		out.Values = append(out.Values, valueJSON(v))
	}
	for _, set := range p.Sets() {
		for _, b := range set.Bounds {
			out.Limits = append(out.Limits, limitJSON{set.Name, b.Limit, b.Side(), b.Value, b.Unit, b.Source})
		}
	}
	return out
}
