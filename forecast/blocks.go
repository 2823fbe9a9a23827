package forecast

import (
	"encoding/binary"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"time"
)

// A source that tells rain in blocks of several hours does not know in which of
// them it falls. Dividing the block evenly would make three wet hours of one
// and leave no dry hour to work in; so the wet hours are drawn, as a spell of
// about the length that such a total has on record.

// wetHours gives how often (in percent) a block of 3 or of 6 hours with a total
// below the limit has 1, 2, … wet hours. Measured on the nine recorded years of
// ../shared/weather/stations (2017 Ireland, 2013 New York), blocks that begin at
// hours of UTC divisible by their length, wet = 0.1 mm and more: 7135 blocks of
// 3 h and 4812 of 6 h with rain.
var wetHours = map[int][]struct {
	below  float64 // mm in the block
	shares []int
}{
	3: {
		{0.15, []int{100, 0, 0}}, {0.45, []int{57, 38, 5}}, {0.95, []int{30, 46, 24}}, {1.95, []int{15, 42, 43}},
		{3.95, []int{7, 26, 67}}, {7.95, []int{3, 16, 81}}, {math.Inf(1), []int{1, 11, 88}},
	},
	6: {
		{0.15, []int{100, 0, 0, 0, 0, 0}}, {0.45, []int{46, 43, 10, 1, 0, 0}}, {0.95, []int{19, 37, 29, 12, 2, 1}},
		{1.95, []int{7, 25, 27, 21, 15, 5}}, {3.95, []int{3, 12, 21, 28, 23, 13}}, {7.95, []int{1, 6, 13, 19, 30, 31}},
		{math.Inf(1), []int{0, 3, 6, 13, 20, 58}},
	},
}

// oneSpell is how often (in percent) the wet hours of a block with more than
// one follow each other: measured as wetHours.
var oneSpell = map[int]int{3: 89, 6: 61}

// leastWet is the least rain of a wet hour, in hundredths of a millimetre.
const leastWet = 10

// Spread draws in which of a block's hours its rain falls, and gives the rain of
// each (mm, in hundredths; they add up to total, rounded so). The same seed gives
// the same hours, and a greater total more of them. A total that is not known or
// below zero gives hours that are not known.
func Spread(total float64, hours int, seed uint64) []float64 {
	if !(total >= 0) || math.IsInf(total, 0) {
		return Unread(hours)
	}
	out := make([]float64, hours)
	left := int(math.Round(total * 100))
	if left == 0 || hours < 1 {
		return out
	}
	draw := rand.New(rand.NewPCG(seed, uint64(hours)))
	wet := drawWet(draw.IntN(100), total, hours)
	wet = max(1, min(wet, left/leastWet))
	table := tableFor(hours)
	first, together := draw.IntN(hours-wet+1), draw.IntN(100) < oneSpell[table]
	order := draw.Perm(hours)
	if together {
		for k := range wet {
			order[k] = first + k
		}
	}
	left -= wet * min(leastWet, left/wet)
	least := (int(math.Round(total*100)) - left) / wet
	for k, share := range shares(draw, wet, left) {
		out[order[k]] = float64(least+share) / 100
	}
	return out
}

// tableFor gives the length of the measured blocks that are nearest.
func tableFor(hours int) int {
	if hours <= 3 {
		return 3
	}
	return 6
}

// drawWet gives the number of wet hours for a draw from 0 to 99.
func drawWet(percent int, total float64, hours int) int {
	table := tableFor(hours)
	for _, class := range wetHours[table] {
		if total >= class.below {
			continue
		}
		for k, share := range class.shares {
			if percent -= share; percent < 0 {
				wet := k + 1
				if hours > table { // longer than measured: in proportion
					wet = (wet*hours + table - 1) / table
				}
				return min(wet, hours)
			}
		}
	}
	return hours
}

// shares cuts a whole number into n random parts (of exponential weights).
func shares(draw *rand.Rand, n, whole int) []int {
	weights, sum := make([]float64, n), 0.0
	for i := range weights {
		weights[i] = draw.ExpFloat64()
		sum += weights[i]
	}
	out, done, upto := make([]int, n), 0, 0.0
	for i, w := range weights {
		upto += w
		next := whole
		if i < n-1 {
			next = min(whole, int(math.Round(float64(whole)*upto/sum)))
		}
		out[i], done = next-done, next
	}
	return out
}

// BlockSeed gives the seed of a member's block that begins at start: the place
// and the time it is about and nothing of the run, so that a forecast that says
// the same again has the same hours.
func BlockSeed(c Cell, start time.Time, member int) uint64 {
	h := fnv.New64a()
	h.Write([]byte(c.String()))
	h.Write(binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint64(nil, uint64(start.Unix()/3600)), uint64(member)))
	return h.Sum64()
}

// SpreadEven finds the blocks of 6 or of 3 hours that a source has divided
// evenly, from slot `from` on, draws their hours anew and gives their number.
// Such a block begins at an hour of UTC that its length divides, and all its
// hours have one rain above zero.
func (r *Readings) SpreadEven(c Cell, from int) (blocks int) {
	hour := int(r.Start.Unix() / 3600)
	for m, col := range r.In[Rain] {
		for i := max(0, from); i < len(col); i++ {
			for _, n := range []int{6, 3} {
				if (hour+i)%n != 0 || !evenBlock(col, i, n) {
					continue
				}
				seed := BlockSeed(c, r.Start.Add(time.Duration(i)*time.Hour), m)
				copy(col[i:], Spread(float64(n)*col[i], n, seed))
				blocks++
				i += n - 1
				break
			}
		}
	}
	return blocks
}

// evenBlock says whether the n slots from i on have one rain above zero.
func evenBlock(col []float64, i, n int) bool {
	if i+n > len(col) || !(col[i] > 0) {
		return false
	}
	for _, x := range col[i+1 : i+n] {
		if x != col[i] {
			return false
		}
	}
	return true
}
