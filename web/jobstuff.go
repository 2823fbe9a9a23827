package web

import (
	"fmt"
	"html/template"
	"time"

	"laycast/notify"
	"laycast/rules/mix"
)

// loadBits is what goes on the van for a whole roof.
type loadBits struct {
	About  string
	Items  []loadItem
	Price  string
	Strips []string // the plan of the mat's strips in words
	Plan   template.HTML
	Notes  []string
}

type loadItem struct{ Item, Qty, Note string }

func loadBitsOf(o notify.JobOutlook, currency string) *loadBits {
	l := o.Load
	if l == nil {
		return nil
	}
	b := &loadBits{About: fmt.Sprintf("For the whole roof, %.4g m², and %d hands.", l.AreaM2, l.Hands), Strips: l.Strips.Words(), Notes: l.Notes}
	for _, i := range l.Items {
		b.Items = append(b.Items, loadItem{notify.Clean(i.Item), fmt.Sprintf("%.6g %s", i.Qty, notify.Clean(i.Unit)), notify.Clean(i.Note)})
	}
	if l.Priced > 0 {
		b.Price = fmt.Sprintf("The %d items that have a price, of %d, come to %s.", l.Priced, len(l.Items), l.Price.Words(currency))
	}
	b.Plan = template.HTML(l.Strips.SVG()) // its texts are escaped by rules/load
	return b
}

// mixBits is the mix card of one day.
type mixBits struct {
	Day      string
	Hours    []mixLine
	Cautions []string
}

type mixLine struct {
	At, Words string
	Warnings  []string
	Mixes     bool // the plan mixes in this hour
}

func mixBitsOf(o notify.JobOutlook, zone *time.Location) *mixBits {
	if len(o.Mix) == 0 {
		return nil
	}
	b := &mixBits{Day: o.MixDay.Words(), Cautions: mix.Cautions()}
	for _, l := range o.Mix {
		b.Hours = append(b.Hours, mixLine{At: l.At.In(zone).Format("15:04"), Words: l.Words(), Warnings: l.Warnings, Mixes: l.Stage != ""})
	}
	return b
}
