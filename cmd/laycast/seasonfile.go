package main

import (
	"encoding/json"
	"fmt"
	"os"
	"time"

	"laycast/scheduler/season"
)

// season gives the outlook of the firm's place, nil where the configuration
// names none.
func (h *house) season() (*season.Outlook, error) {
	if h.cfg.SeasonFile == "" {
		return nil, nil
	}
	data, err := os.ReadFile(h.cfg.SeasonFile)
	if err != nil {
		return nil, fmt.Errorf("read the season: %w", err)
	}
	const remedy = "make it with laycast season --weather RECORD.csv --json"
	var in seasonJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return nil, fmt.Errorf("season %s: %w; %s", h.cfg.SeasonFile, err, remedy)
	}
	var months [12]season.Month
	for i, m := range in.Months {
		if len(in.Months) != 12 || m.Month != i+1 || m.Days < 1 || m.Work < 0 || m.WorkSeal < 0 || m.WorkSeal > m.Work || m.Full < 0 || m.Full > m.Sealable || m.Sealable > m.Days {
			return nil, fmt.Errorf("season %s: month %d does not add up, or there are not twelve; %s", h.cfg.SeasonFile, i+1, remedy)
		}
		months[i] = season.Month{Month: time.Month(i + 1), Days: m.Days, Sealable: m.Sealable, Full: m.Full, Work: m.Work, WorkSealable: m.WorkSeal}
	}
	if len(in.Months) == 0 {
		return nil, fmt.Errorf("season %s holds no months; %s", h.cfg.SeasonFile, remedy)
	}
	o := season.Of(oneLine(in.Station), months)
	return &o, nil
}
