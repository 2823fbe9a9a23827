package plan

import (
	"os"
	"strconv"
)

var debug = os.Getenv("D") != ""

func K(n string, def float64) float64 {
	if v, err := strconv.ParseFloat(os.Getenv(n), 64); err == nil {
		return v
	}
	return def
}

var (
	Work      = K("WORK", 1e8)
	Repair    = K("REPAIR", 1)
	Sub       = K("SUB", 300000)
	Size      = K("SIZE", 12)
	SubTries  = K("SUBTRIES", 3)
	SubRounds = K("SUBROUNDS", 60)
	CrewW     = K("CREW", 0.3)
	Eps       = K("EPS", 0.1)
	Delta     = K("DELTA", 2e-5)
	Mult      = K("MULT", 3)
	Pass      = K("PASS", 1e7)
	Rounds    = K("ROUNDS", 100)
	Tries     = K("TRIES", 8)
	TryRounds = K("TRYROUNDS", 30)
)
var (
	Noise      = K("NOISE", 0.3)
	Sure       = K("SURE", 0.95)
	Least      = K("LEAST", 3)
	Dives      = K("DIVES", 1)
	DiveRounds = K("DIVEROUNDS", 60)
)
