package physics_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"
	"time"

	"laycast/rules/physics"
)

// psychrolibVersion is the general-purpose psychrometrics library on npm (MIT)
// that dew point and wet bulb are compared with; it follows ASHRAE Fundamentals
// 2017 chapter 1.
const psychrolibVersion = "psychrolib@1.1.1"

// air is one reading: °C, %, hPa.
type air struct {
	C   float64 `json:"c"`
	RH  float64 `json:"rh"`
	HPa float64 `json:"hpa"`
}

// psychro is what the library makes of it, °C.
type psychro struct {
	Dew float64 `json:"dew"`
	Wet float64 `json:"wet"`
}

// askPsychrolib is run by node: readings in, answers out.
const askPsychrolib = `
const p = require('psychrolib'); p.SetUnitSystem(p.SI);
const rows = JSON.parse(require('fs').readFileSync(0, 'utf8'));
console.log(JSON.stringify(rows.map(r => ({
  dew: p.GetTDewPointFromRelHum(r.c, r.rh / 100),
  wet: p.GetTWetBulbFromRelHum(r.c, r.rh / 100, r.hpa * 100),
}))));`

// Dew point and wet bulb against psychrolib over random air from valley to
// mountain roof. Below 0 °C its dew point is a frost point and its humidity is
// over ice, so colder air and dew points under 0 °C are left out. 0.05 K is the
// tolerance of CHECKS section 1 (Magnus against ASHRAE at most 0.039 K); wet
// bulbs are the same equation, solved there to 0.001 K.
func TestAgainstPsychrolib(t *testing.T) {
	dir := installPsychrolib(t)
	rng := rand.New(rand.NewPCG(8, 502))
	in := make([]air, 2000)
	for i := range in {
		in[i] = air{C: 45 * rng.Float64(), RH: 10 + 90*rng.Float64(), HPa: physics.StandardPressure(2500 * rng.Float64())}
	}
	out := runPsychrolib(t, dir, in)
	if len(out) != len(in) {
		t.Fatalf("psychrolib gave %d answers to %d readings", len(out), len(in))
	}
	dews, iced := 0, 0
	for i, a := range in {
		what := fmt.Sprintf(" at %.2f °C, %.1f %%, %.1f hPa", a.C, a.RH, a.HPa)
		if out[i].Dew >= 0 {
			near(t, "dew point"+what, physics.DewPoint(a.C, a.RH), out[i].Dew, 0.05)
			dews++
		}
		wet := physics.WetBulb(a.C, a.RH, a.HPa)
		if wet >= 0 && out[i].Wet < 0 { // a wet bulb and an iced one both solve it: we give the wet, it the iced
			near(t, "humidity ratio by either bulb"+what,
				physics.HumidityRatioFromWetBulb(a.C, wet, a.HPa), physics.HumidityRatioFromWetBulb(a.C, out[i].Wet, a.HPa), 1e-5)
			iced++
			continue
		}
		near(t, "wet bulb"+what, wet, out[i].Wet, 0.01)
	}
	atLeast(t, dews, 1500)
	if iced > 40 {
		t.Errorf("%d of %d bulbs are iced for psychrolib and wet for us; only those close to 0 °C may be", iced, len(in))
	}
}

// installPsychrolib puts the library into a folder of the test's own, by npm
// and its cache; where that cannot be, the test is skipped and says why.
func installPsychrolib(t *testing.T) string {
	t.Helper()
	if testing.Short() {
		t.Skip("not compared with psychrolib: it may have to be fetched: run without -short")
	}
	for _, tool := range []string{"node", "npm"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("not compared with psychrolib: %s is not installed: install the package of that name", tool)
		}
	}
	dir := t.TempDir()
	ctx, cancel := context.WithTimeout(t.Context(), 15*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, "npm", "install", "--prefix", dir, "--no-audit", "--no-fund", "--prefer-offline", "--ignore-scripts",
		"--no-update-notifier", "--fetch-retries=0", "--fetch-timeout=10000", psychrolibVersion)
	cmd.Dir, cmd.WaitDelay = dir, time.Second
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Skipf("not compared with psychrolib: npm could not fetch it (is there a network?), lay it into npm's cache or go online: %v: %s", err, strings.TrimSpace(string(out)))
	}
	return dir
}

// runPsychrolib asks the library about every reading at once.
func runPsychrolib(t *testing.T, dir string, in []air) (out []psychro) {
	t.Helper()
	rows, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	var stderr bytes.Buffer
	cmd := exec.CommandContext(ctx, "node", "-e", askPsychrolib)
	cmd.Dir, cmd.Stdin, cmd.Stderr = dir, bytes.NewReader(rows), &stderr
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("node could not run psychrolib: %v: %s", err, stderr.String())
	}
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatalf("psychrolib's answer is not JSON: %v", err)
	}
	return out
}
