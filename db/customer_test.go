package db

import (
	"slices"
	"testing"
)

// A new table has to say whether it holds anything about customers.
func TestEveryTableSaysWhetherItKnowsCustomers(t *testing.T) {
	// weeks name jobs by their ids, and why they were left out, which erasing mends
	without := []string{"firms", "settings", "crews", "weeks", "tasks", "sessions"}
	of := []string{}
	for _, t := range customerTables() {
		of = append(of, t.name)
	}
	for _, k := range keptTables() {
		if k.scope != ofFirm && k.scope != ofChance {
			continue
		}
		if a, b := slices.Contains(of, k.name), slices.Contains(without, k.name); a == b {
			t.Errorf("table %s is about customers: %t, and not about them: %t; put it into customerTables and erase it, or into this list", k.name, a, b)
		}
	}
}
