package skill

// Table counts yes-or-no forecasts against what happened.
type Table struct {
	Hits        int `json:"hits"`         // said and happened
	FalseAlarms int `json:"false_alarms"` // said, did not happen
	Misses      int `json:"misses"`       // not said, happened
	Rejections  int `json:"rejections"`   // not said, did not happen
}

// TableOf counts chances as said where they are at least `from`.
func TableOf(ss []Scored, from float64) (t Table) {
	for _, s := range ss {
		switch said := s.Chance >= from; {
		case said && s.Happened:
			t.Hits++
		case said:
			t.FalseAlarms++
		case s.Happened:
			t.Misses++
		default:
			t.Rejections++
		}
	}
	return t
}

// TableScores are the usual scores of a table; those that divide by nothing are
// NaN. Worked out as on the site of the WWRP/WGNE joint working group on
// forecast verification, after Murphy 1996.
type TableScores struct {
	Right     float64 // share of forecasts that were right
	Bias      float64 // said per happened
	Detected  float64 // of what happened, said (POD)
	FalseSaid float64 // of what was said, not happened (false alarm ratio)
	FalseRate float64 // of what did not happen, said (POFD)
	Threat    float64 // critical success index
	Equitable float64 // threat score less the hits of chance (Gilbert skill score)
	Peirce    float64 // Hanssen-Kuipers
	Heidke    float64
	OddsRatio float64
}

// Scores works out the scores of a table.
func (t Table) Scores() TableScores {
	a, b, c, d := float64(t.Hits), float64(t.FalseAlarms), float64(t.Misses), float64(t.Rejections)
	n := a + b + c + d
	lucky := (a + b) * (a + c) / n
	rightByLuck := lucky + (c+d)*(b+d)/n
	s := TableScores{
		Right: (a + d) / n, Bias: (a + b) / (a + c), Detected: a / (a + c), FalseSaid: b / (a + b), FalseRate: b / (b + d),
		Threat: a / (a + b + c), Equitable: (a - lucky) / (a + b + c - lucky), OddsRatio: a * d / (b * c),
	}
	s.Peirce = s.Detected - s.FalseRate
	s.Heidke = (a + d - rightByLuck) / (n - rightByLuck)
	return s
}
