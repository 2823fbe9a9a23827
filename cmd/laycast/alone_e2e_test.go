package main

import (
	"io"
	"mime/quotedprintable"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"laycast/forecast/metno"
	"laycast/forecast/nws"
)

// flatMails gives the mail files, decoded and on one line each.
func (o *office) flatMails() (out []string) {
	o.t.Helper()
	for _, name := range o.mails() {
		text, err := io.ReadAll(quotedprintable.NewReader(strings.NewReader(o.read(filepath.Join(o.mail, name)))))
		if err != nil && len(text) == 0 {
			o.t.Fatal(err)
		}
		out = append(out, strings.Join(strings.Fields(string(text)), " "))
	}
	return out
}

// A source without an ensemble, alone: its one forecast is dressed to members
// enough, roofs are called go from it while it is fresh and never once it is not,
// and its credit stands where weather is shown, with nobody else's.
func TestASourceWithoutEnsembleAlone(t *testing.T) {
	slowWhenRaced(t)
	for _, tt := range []struct{ kind, credit string }{{metno.Source, metno.Credit}, {nws.Source, nws.Credit}} {
		t.Run(tt.kind, func(t *testing.T) {
			t.Parallel()
			other := newOther(t)
			down := moment(t, "2027-06-16T05:00:00Z")
			other.down = down
			o := openOffice(t, "Europe/Dublin", "")
			o.write("laycast.yaml", "firm: {name: Quay Roofs, zone: Europe/Dublin, email: office@quay.example}\nlisten: 127.0.0.1:0\n"+
				"tell_ahead: 5\nbounds: {tell: 0.6}\n"+ // so that days are told already when the source falls silent
				"database: sqlite:"+filepath.Join(o.dir, "laycast.db")+"\nsource: {kind: "+tt.kind+", url: \""+other.URL+"\", contact: office@quay.example}\n")
			o.takeIn(bookOf(24, "2027-06-14")) // so many that some day after the silence begins is told
			o.rehearse("2027-06-13T04:00:00Z", "2027-06-15T20:00:00Z")

			check := decode[checkJSON](t, o.must("check", "Q-16", "--json"))
			if check.Issue.Source != tt.kind || len(check.Days) == 0 {
				t.Fatalf("judged by %q", check.Issue.Source)
			}
			for _, d := range check.Days[1:4] {
				if d.Basis != "dressed" || d.Members < 40 || d.Chance == nil || *d.Chance < 0 || *d.Chance > 1 {
					t.Errorf("%s: basis %s, %d members, chance %v", d.Date, d.Basis, d.Members, d.Chance)
				}
			}
			if text := o.must("check", "Q-16"); !strings.Contains(text, "Forecast from "+tt.kind+", ") {
				t.Errorf("a check does not name its source:\n%s", text)
			}

			o.rehearse("2027-06-15T20:00:00Z", "2027-06-17T09:00:00Z")
			goes, blind := 0, 0
			for _, c := range o.calls() {
				grace := 3 * time.Hour
				if c.Occasion == "second-look" {
					grace = 6 * time.Hour
				}
				switch {
				case c.Outcome == "go" && c.Made.After(down.Add(grace)):
					t.Errorf("%s go for %s on %s, %s after the last forecast: %q", c.Occasion, c.Job, c.Date, c.Made.Sub(down), c.Reasons)
				case c.Outcome == "go" && (c.Basis != "dressed" || c.Members < 40 || c.Chance == nil):
					t.Errorf("a go for %s on basis %s, %d members, chance %v", c.Job, c.Basis, c.Members, c.Chance)
				case c.Outcome == "go":
					goes++
				case c.Made.After(down.Add(grace)):
					blind++
				}
				if s := strings.Join(c.Reasons, "; "); strings.Contains(s, "ensemble") || strings.Contains(s, "the weather is from") {
					t.Errorf("%s for %s: %s", c.Outcome, c.Job, s)
				}
			}
			if goes == 0 || blind == 0 {
				t.Errorf("%d goes on fresh and %d calls on old weather show too little", goes, blind)
			}
			credited := 0
			for _, text := range o.flatMails() {
				if strings.Contains(text, tt.credit) {
					credited++
				}
				if strings.Contains(text, "Open-Meteo") {
					t.Errorf("a mail credits a source that was not asked: %.200s", text)
				}
			}
			if credited == 0 {
				t.Error("no mail bears the source's credit")
			}
		})
	}
}
