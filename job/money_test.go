package job

import (
	"encoding/json"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestMoneyRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Money(rapid.Int64Range(-100_000_000_000, 100_000_000_000).Draw(t, "cents"))
		got, err := ParseMoney(m.String())
		if err != nil || got != m {
			t.Fatalf("%s read back as %d, %v", m, got, err)
		}
		b, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		var again Money
		if err := json.Unmarshal(b, &again); err != nil || again != m {
			t.Fatalf("%s written as %s, read back as %d, %v", m, b, again, err)
		}
		var number float64
		if err := json.Unmarshal(b, &number); err != nil || number != float64(m)/100 {
			t.Fatalf("%d cents written as %s, which others read as %v", m, b, number)
		}
	})
}

func TestParseMoney(t *testing.T) {
	for s, want := range map[string]Money{
		"1250": 125000, "1250.5": 125050, "1250.50": 125050, "0": 0, "-0.05": -5, "0.6": 60, "1000000000": 100_000_000_000, "1800.0": 180000,
	} {
		if got, err := ParseMoney(s); err != nil || got != want {
			t.Errorf("ParseMoney(%q) = %d, %v; want %d", s, got, err, want)
		}
	}
	for _, s := range []string{"", "-", ".5", "1.005", "1e3", "1,50", "+1", "--1", "1.-5", "1000000000.01", "99999999999", "NaN", "0x10", "1 ", "null"} {
		if got, err := ParseMoney(s); err == nil {
			t.Errorf("ParseMoney(%q) = %d", s, got)
		}
	}
}

// TestMoneyInWords: whole units, rounded to the nearest, in groups of three.
func TestMoneyInWords(t *testing.T) {
	for m, want := range map[Money]string{0: "0 CAD", 49: "0 CAD", 50: "1 CAD", 28000: "280 CAD", 884447: "8 844 CAD", -884450: "-8 845 CAD", 123456789000: "1 234 567 890 CAD", -10000: "-100 CAD"} {
		if got := strings.ReplaceAll(m.Words("CAD"), "\u00a0", " "); got != want {
			t.Errorf("%d is %q, want %q", m, got, want)
		}
	}
}
