package job

import "testing"

// TestSettings: what a setting shows can be typed back and changes nothing; what
// is locked or contradicts itself changes nothing.
func TestSettings(t *testing.T) {
	f := DefaultFirm()
	all := Edits{}
	for _, s := range Settings() {
		all[s.Key] = s.Of(f)
	}
	same, bad := f.With(all, nil)
	for _, s := range Settings() {
		if s.Of(same) != s.Of(f) {
			t.Errorf("%s: %s became %s", s.Key, s.Of(f), s.Of(same))
		}
	}
	if len(bad) > 0 || same.Bounds != f.Bounds {
		t.Fatalf("%v, %+v", bad, same.Bounds)
	}
	got, bad := f.With(Edits{"bounds.go": " 75 % ", "tell_ahead": "4", "costs.km": "0.75", "work.from": "08:00", "ask_before_move": "strict", "stand_by": "no", "unknown": "x"}, []string{"tell_ahead"})
	if len(bad) > 0 || got.Bounds.Go != 0.75 || got.TellAhead != f.TellAhead || got.Costs.Km != 75 || got.Work.From != 8*60 || !got.AskStrict || got.StandBy || !f.StandBy {
		t.Fatalf("%+v %v", got, bad)
	}
	for key, v := range map[string]string{"bounds.go": "0", "bounds.no_go": "71", "bounds.no_go_rain": "7", "notice": "6", "work.to": "07:30", "work.from": "25:00",
		"tell_ahead": "15", "costs.km": "-1", "bounds.tell": "NaN", "bounds.after_hold": "101", "costs.later_share": "101", "firm.phone": "1\n2", "ask_before_move": "maybe", "stand_by": "perhaps"} {
		if got, bad := f.With(Edits{key: v}, nil); len(bad) == 0 || bad[0].Key != key || bad[0].Reason == "" || got.Bounds != f.Bounds || got.Work.From != f.Work.From {
			t.Errorf("%s=%q: %v", key, v, bad)
		}
	}
}

// TestProfilesOfThePagesAreAlwaysInForce: whatever else is wrong with the edits.
func TestProfilesOfThePagesAreAlwaysInForce(t *testing.T) {
	e := Edits{ProfileKey("cold"): "name: cold", "bounds.go": "75"}
	f, bad := DefaultFirm().With(e, nil)
	if len(bad) > 0 || f.Profiles["cold"] != "name: cold" || f.Bounds.Go != 0.75 {
		t.Errorf("%v, %+v", bad, f.Profiles)
	}
	e["bounds.go"] = "much"
	if f, bad = DefaultFirm().With(e, nil); len(bad) != 1 || f.Profiles["cold"] != "name: cold" {
		t.Errorf("%v, %+v", bad, f.Profiles)
	}
	if f, _ = f.With(Edits{}, nil); f.Profiles != nil {
		t.Errorf("dropped, and still there: %v", f.Profiles)
	}
}
