package main

import (
	"laycast/rules"
)

type profileCmd struct {
	Name string `arg:"" optional:"" help:"Name of the profile." default:"polyester"`
	JSON bool   `help:"Print JSON."`
}

// Run prints the limits and rates of a profile.
func (c *profileCmd) Run(s *session) error {
	p, err := rules.ProfileNamed(c.Name)
	if err != nil {
		return err
	}
	if c.JSON {
		return s.printJSON(p)
	}
	s.printf("%s: the resin maker's data sheet governs; every figure is common practice, no source, unless it says otherwise.\n\n", p.Name)
	for _, set := range p.Sets() {
		s.printf("%s\n", set.Name)
		for _, b := range set.Bounds {
			sign := "at most"
			switch {
			case b.Least && b.Strict:
				sign = "more than"
			case b.Least:
				sign = "at least"
			case b.Strict:
				sign = "less than"
			}
			s.printf("  %-18s %s %.4g %s\n", b.Limit, sign, b.Value, b.Unit)
		}
	}
	s.printf("\nfor a pair: strip %.4g, boards %.4g, laminate %.4g, sand %.4g, topcoat %.4g m²/h; trim %.4g min/m, outlet %.4g min, bandage %.4g min/m\n",
		p.StripRate, p.DeckRate, p.LaminateRate, p.SandRate, p.TopcoatRate, p.TrimMin, p.OutletMin, p.BandageMin)
	s.printf("set up %.4g, break %.4g, clear up %.4g min; a third hand adds %.0f %%; nobody laminates alone\n", p.Setup, p.Break, p.ClearUp, p.ThirdHand*100)
	s.printf("sealed at %.4g h, sandable at %.4g h, topcoat rain-proof at %.4g h of age at 20 °C (activation energy %.4g kJ/mol, published 40 to 60)\n",
		p.SealedAge, p.SandableAge, p.RainproofAge, p.CureE)
	return nil
}
