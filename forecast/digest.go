package forecast

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"time"
)

// Digest names the content of a run: the first 32 hex digits of the SHA-256 of
// start, slots, members and the quantised values, and of nothing else. No
// coordinates and no times of fetching go in: the same weather has the same
// digest, and a digest tells nobody where a customer lives. A column that knows
// nothing counts as a column that is not there.
func Digest(h Hours) string {
	sum := sha256.New()
	b := binary.LittleEndian.AppendUint64(nil, uint64(h.Start.Unix()))
	b = binary.LittleEndian.AppendUint32(b, uint32(h.N))
	b = binary.LittleEndian.AppendUint32(b, uint32(h.Members))
	sum.Write(b)
	for v := range h.Cols {
		col := quantiseColumn(Var(v), h.Cols[v])
		if col == nil {
			continue
		}
		b = append(b[:0], byte(v))
		for _, x := range col {
			b = binary.LittleEndian.AppendUint32(b, uint32(code(Var(v), x)))
		}
		sum.Write(b)
	}
	return hex.EncodeToString(sum.Sum(nil))[:32]
}

// SharedDiffers reports whether two runs of one place contradict each other:
// some value that both know differs (after quantising). Hours of only one run
// and values unknown on either side cannot be compared: a window that rolls
// over a dead model run is no news, nor is a column that went missing.
func SharedDiffers(old, fresh Hours) bool {
	off := old.Slot(fresh.Start) // slot of old that is slot 0 of fresh
	from, to := max(0, -off), min(fresh.N, old.N-off)
	for v := Var(0); v < NVars; v++ {
		if old.Cols[v] == nil || fresh.Cols[v] == nil {
			continue
		}
		for m := 0; m < min(old.Members, fresh.Members); m++ {
			for i := from; i < to; i++ {
				a, b := code(v, old.At(v, m, i+off)), code(v, fresh.At(v, m, i))
				if a != b && a != unknownCode && b != unknownCode {
					return true
				}
			}
		}
	}
	return false
}

// Carry joins a fetched run to the newest one held for the same source,
// endpoint and cell (nil: none). isNew is false when the digest is the held
// one's: then run is prev, seen again at now, with what fresh says of asking
// again. Otherwise run is fresh, first and last seen at now, and its content
// counts as changed at now only if
//   - nothing was held before, or
//   - air or wind differs in an hour that both know, or rain in a block of six
//     (SharedDiffers of these alone: the other measures may be derived or
//     estimated by the decoder, or come from another model, and so change over a
//     dead model run; a new run never leaves these three alone. Runs without
//     them are compared whole. Rain is compared by the block because its hours
//     may be drawn, see Spread, and are drawn no more when the block is near), or
//   - both tell their model run and the fresh one is later, or
//   - the windows do not touch at all and fresh knows something.
//
// Else Changed stays what it was: a source that serves old content under new
// stamps grows old. When the held run knows nothing in the shared hours, that
// too leaves Changed alone, which errs towards calling a forecast old.
func Carry(prev *Run, fresh Run, now time.Time) (run Run, isNew bool) {
	if fresh.Digest == "" {
		fresh.Digest = Digest(fresh.Hours)
	}
	if prev != nil && prev.Digest == fresh.Digest {
		run = *prev
		run.LastSeen, run.Modified, run.Expires = now, fresh.Modified, fresh.Expires
		return run, false
	}
	fresh.FirstSeen, fresh.LastSeen, fresh.Changed = now, now, now
	if prev != nil && !changed(*prev, fresh) {
		fresh.Changed = prev.Changed
	}
	return fresh, true
}

// changed says whether fresh has content that prev had not.
func changed(prev, fresh Run) bool {
	if !prev.ModelRun.IsZero() && fresh.ModelRun.After(prev.ModelRun) {
		return true
	}
	apart := !fresh.Hours.Start.Before(prev.Hours.End()) || !prev.Hours.Start.Before(fresh.Hours.End())
	if apart {
		return knows(fresh.Hours)
	}
	if prev.Hours.Cols[Air] != nil && fresh.Hours.Cols[Air] != nil {
		return SharedDiffers(measured(prev.Hours), measured(fresh.Hours)) || rainDiffers(prev.Hours, fresh.Hours)
	}
	return SharedDiffers(prev.Hours, fresh.Hours)
}

// measured leaves the columns that no decoder makes up.
func measured(h Hours) Hours {
	h.Cols = [NVars][]float32{Air: h.Cols[Air], Wind: h.Cols[Wind]}
	return h
}

// rainBlock is the longest block that sources tell rain in, in hours; blocks
// begin at hours of UTC that it divides.
const rainBlock = 6

// rainDiffers says whether some member's rain differs in a block that both runs
// know whole, by more than the rounding of its hours.
func rainDiffers(old, fresh Hours) bool {
	first := (rainBlock - int(fresh.Start.Unix()/3600)%rainBlock) % rainBlock
	off := old.Slot(fresh.Start)
	for m := range min(old.Members, fresh.Members) {
		for i := first; i+rainBlock <= fresh.N; i += rainBlock {
			a, b := blockRain(old, m, i+off), blockRain(fresh, m, i)
			if math.Abs(a-b) > rainBlock*0.5/perUnit(Rain)+1e-6 { // false where either is NaN
				return true
			}
		}
	}
	return false
}

// blockRain sums the block of member m from slot i on.
func blockRain(h Hours, m, i int) (sum float64) {
	for k := range rainBlock {
		sum += float64(h.At(Rain, m, i+k))
	}
	return sum
}

// knows says whether any value of h is known.
func knows(h Hours) bool {
	for v := range h.Cols {
		if quantiseColumn(Var(v), h.Cols[v]) != nil {
			return true
		}
	}
	return false
}
