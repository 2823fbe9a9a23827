package db

// KeysForTest gives the order in which each table is backed up.
func KeysForTest() map[string][]string {
	out := map[string][]string{}
	for _, t := range keptTables() {
		out[t.name] = t.key
	}
	return out
}
