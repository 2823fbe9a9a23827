package main

import (
	"strings"
	"testing"

	"laycast/rules/load"
)

// What goes on the van and into the bucket, as a crew asks for it.
func TestLoadAndMix(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "materials: ours.yaml\n")
	o.write("ours.yaml", strings.Replace(string(load.YAML()), "board: {pack: 1}", "board: {pack: 2, price: 31.50}", 1))
	book := bookOf(2, "2027-05-03")
	roof := book["jobs"].([]any)[0].(map[string]any)["roof"].(map[string]any)
	roof["area_m2"], roof["shape"] = 36, map[string]any{"width_m": 6, "length_m": 8, "notch_width_m": 3, "notch_length_m": 4}
	o.takeIn(book)

	text := o.must("load", "Q-01", "--svg", o.dir+"/strips.svg")
	// 36 x 1.07 / 1.44 = 26.75: 14 packs of 2, at 31.50
	for _, want := range []string{"board                      28 pieces", "Price of the 1 items that have one", "441.00", "without a corner of 3.00 by 4.00 m", "at least 50 mm", "data sheet governs"} {
		if !strings.Contains(text, want) {
			t.Errorf("load does not say %q:\n%s", want, text)
		}
	}
	if svg := o.read(o.dir + "/strips.svg"); !strings.HasPrefix(svg, "<svg ") {
		t.Errorf("%.60s", svg)
	}
	whole, bay := decode[loadJSON](t, o.must("load", "Q-01", "--json")), decode[loadJSON](t, o.must("load", "Q-01", "--bay", "--on", "2027-05-04", "--json"))
	if bay.AreaM2 >= whole.AreaM2 || bay.Items[0].Need >= whole.Items[0].Need || len(bay.Strips) == 0 || whole.Days < 2 || bay.Days != 1 {
		t.Errorf("whole %+v\nbay %+v", whole, bay)
	}
	if ratios := o.must("load", "--ratios"); !strings.Contains(ratios, "common practice, no source") || !strings.Contains(ratios, "from memory") {
		t.Errorf("ratios without a source:\n%s", ratios)
	}

	card := decode[cardJSON](t, o.must("mix", "Q-02", "--on", "2027-05-04", "--now", "2027-05-03T17:00:00Z", "--json"))
	mixes := 0
	for _, h := range card.Hours {
		if h.DosePct == nil && len(h.Warnings) == 0 || h.DosePct != nil && (*h.DosePct < 1 || *h.DosePct > 4 || h.TempC == nil || *h.WorkMin >= *h.GelMin) {
			t.Errorf("%+v", h)
		}
		if h.Stage != "" {
			mixes++
		}
	}
	if len(card.Hours) != 11 || mixes == 0 || len(card.Cautions) < 4 { // 07:00 to 18:00
		t.Errorf("%d hours, %d of them mix, %d cautions", len(card.Hours), mixes, len(card.Cautions))
	}
	if text := o.must("mix", "Q-02", "--on", "2027-05-04", "--now", "2027-05-03T17:00:00Z"); !strings.Contains(text, "accelerator") || !strings.Contains(text, "* deck") {
		t.Errorf("mix says\n%s", text)
	}
	o.fails(exitUsage, []string{"name a job"}, "mix")
	o.fails(exitUsage, []string{"name a job"}, "load")
	o.fails(exitFail, []string{"no job"}, "load", "Q-99")
	o.fails(exitUsage, []string{"there is no profile"}, "mix", "--temp", "14", "--profile", "none")

	o.write("ours.yaml", strings.Replace(string(load.YAML()), "lap: 0.05 ", "lap: 0.01 ", 1))
	o.fails(exitFail, []string{"ours.yaml", "mat.lap", "a number from 0.05"}, "load", "Q-01")
}

// A temperature can be asked about before anything is set up.
func TestMixNeedsNoSetUp(t *testing.T) {
	t.Parallel()
	o := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	warm := decode[mixJSON](t, o.must("mix", "--temp", "27", "--json"))
	cold := decode[mixJSON](t, o.must("mix", "--temp", "8", "--json"))
	if *warm.DosePct >= *cold.DosePct || len(warm.Cautions) == 0 || *warm.TempC != 27 {
		t.Errorf("warm %+v, cold %+v", warm, cold)
	}
	if hot := decode[mixJSON](t, o.must("mix", "--temp", "50", "--json")); hot.DosePct != nil || hot.GelMin != nil || len(hot.Warnings) != 1 {
		t.Errorf("far too hot: %+v", hot)
	}
}
