package main

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"

	"laycast/forecast/openmeteo"
)

// The kinds of source. Those of others are strict about being told who asks.
const (
	kindOpen   = "open-meteo"
	kindNorway = "met-norway"
	kindUS     = "us-nws"
	kindReplay = "replay"
)

// sourceName is what a source may be called: it stands in mails and rows.
var sourceName = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// sources reads one source, or a list of them in order of preference.
func (l *configLoader) sources(root *yamlSection) []SourceConfig {
	parts := root.sections("source")
	var out []SourceConfig
	for i, s := range parts {
		c := l.source(s, i == 0)
		if slices.ContainsFunc(out, func(x SourceConfig) bool { return x.Name == c.Name && c.Name != "" }) {
			s.complain("kind", "%q stands twice in the list; give the second a name of its own (name: %s-2)", c.Name, c.Name)
		}
		out = append(out, c)
	}
	return out
}

func (l *configLoader) source(s *yamlSection, first bool) SourceConfig {
	c, keyFile := SourceConfig{}, ""
	s.text("kind", &c.Kind, true)
	kinds := []string{kindOpen, kindNorway, kindUS, kindReplay}
	if c.Kind != "" && !slices.Contains(kinds, c.Kind) {
		s.complain("kind", "%q is not a source%s", c.Kind, suggestKey(c.Kind, kinds))
	}
	s.text("name", &c.Name, false)
	if c.Name != "" && (!sourceName.MatchString(c.Name) || len(c.Name) > 40) {
		s.complain("name", "%q may hold lower-case letters, digits and single dashes only, at most 40", shorten(c.Name))
	}
	c.Name = cmp.Or(c.Name, c.Kind)
	s.checked("forecast_url", &c.ForecastURL, checkURL)
	s.checked("ensemble_url", &c.EnsembleURL, checkURL)
	s.checked("previous_url", &c.PreviousURL, checkURL)
	s.checked("geocoding_url", &c.GeocodingURL, checkURL)
	s.checked("url", &c.URL, checkURL)
	s.checked("model", &c.Model, checkModel)
	network := "any"
	s.oneOf("network", &network, "any", "ipv4")
	c.IPv4 = network == "ipv4"
	s.text("contact", &c.Contact, false)
	s.text("weather", &c.Weather, false)
	s.text("key_file", &keyFile, false)
	s.number("per_minute", &c.PerMinute, 0, 1e9)
	s.number("per_hour", &c.PerHour, 0, 1e9)
	s.number("per_day", &c.PerDay, 0, 1e9)
	l.misplaced(s, c.Kind)
	name := ""
	if first { // the environment's one key is the preferred source's
		name = envPrefix + "SOURCE_KEY"
	}
	c.Key = l.secret(s, "key_file", keyFile, name)
	s.hint("key", "does not stand in this file; write it into a file of its own and name that in key_file, or set "+envPrefix+"SOURCE_KEY")
	if c.Contact == "" && (c.Kind == kindNorway || c.Kind == kindUS) {
		s.complain("kind", "%s answers only those who say how to reach them: add contact, a mail address or web page of the firm", c.Kind)
	}
	s.done()
	return c
}

// modelName is what the open API's models look like.
var modelName = regexp.MustCompile(`^[a-z0-9_]{1,60}$`)

func checkModel(s string) error {
	if !modelName.MatchString(s) {
		return fmt.Errorf("%q is not a model; give one ensemble model by its name, such as %s", shorten(s), openmeteo.DefaultModel)
	}
	return nil
}

// misplaced complains of keys that belong to other kinds.
func (l *configLoader) misplaced(s *yamlSection, kind string) {
	for _, k := range []struct {
		key   string
		kinds []string
		words string
	}{
		{"forecast_url", []string{kindOpen}, "belongs to kind open-meteo"},
		{"ensemble_url", []string{kindOpen}, "belongs to kind open-meteo"},
		{"previous_url", []string{kindOpen}, "belongs to kind open-meteo"},
		{"geocoding_url", []string{kindOpen}, "belongs to kind open-meteo"},
		{"key_file", []string{kindOpen}, "belongs to kind open-meteo"},
		{"model", []string{kindOpen}, "belongs to kind open-meteo"},
		{"url", []string{kindNorway, kindUS}, "belongs to the kinds met-norway and us-nws; open-meteo has forecast_url and ensemble_url"},
		{"weather", []string{kindReplay}, "belongs to kind replay"},
	} {
		if s.has(k.key) && kind != "" && !slices.Contains(k.kinds, kind) {
			s.complain(k.key, "%s; leave it out for %s", k.words, kind)
		}
	}
}
