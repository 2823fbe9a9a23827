package dbtest

import (
	"bytes"
	"errors"
	"reflect"
	"testing"
	"time"

	"laycast/db"
	"laycast/job"
	"laycast/job/aslaid"
	"laycast/scheduler/ledger"
)

// testRecords: records are closed once, in one chain for each firm; photos are
// taken until then.
func testRecords(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1", "J2")
	record := func(id string, dd int) aslaid.Record {
		return aslaid.Record{Job: id, Date: day(dd), Day: aslaid.Day{Firm: "Saltbox", Outcome: "laid", Closed: noon()},
			Hours: []aslaid.Hour{{At: noon(), AirC: aslaid.Known(14.25)}}, Use: aslaid.Use{ResinKg: 9.5}}
	}
	photo := aslaid.Photo{ID: "p1", By: "crew", At: noon(), Note: "deck \"><script>"}
	link := aslaid.Photo{ID: "p2", Link: "https://pictures.example/1", By: "crew", At: noon().Add(time.Minute)}
	image := []byte{0, 1, 0xff, 0xfe}
	for range 2 { // sent twice
		if err := errors.Join(d.PutPhoto(t.Context(), uid, "J1", day(14), photo, image), d.PutPhoto(t.Context(), uid, "J1", day(14), link, nil)); err != nil {
			t.Fatal(err)
		}
	}
	if ps, err := d.Photos(t.Context(), uid, "J1", day(14)); err != nil || !reflect.DeepEqual(ps, []aslaid.Photo{photo, link}) {
		t.Errorf("photos %+v, %v", ps, err)
	}
	if b, err := d.Picture(t.Context(), uid, "J1", "p1"); err != nil || !bytes.Equal(b, image) {
		t.Errorf("picture %v, %v", b, err)
	}
	for _, x := range [][2]string{{"J1", "p2"}, {"J2", "p1"}} {
		if _, err := d.Picture(t.Context(), uid, x[0], x[1]); !errors.Is(err, db.ErrNotFound) {
			t.Errorf("a picture that is not there: %v", err)
		}
	}
	closing := func(rs ...aslaid.Record) { commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Records: rs}) }
	closing(record("J1", 14))
	closing(record("J2", 14), record("J1", 15))
	changed := record("J1", 14)
	changed.Day.Outcome = "not laid"
	closing(changed) // too late
	all, err := d.Records(t.Context(), uid, "")
	if err != nil || len(all) != 9 {
		t.Fatalf("%d rows, %v; want 3 of each record", len(all), err)
	}
	if err := aslaid.Verify(all); err != nil {
		t.Error(err)
	}
	one, err := d.Records(t.Context(), uid, "J1")
	if err != nil {
		t.Fatal(err)
	}
	got, err := aslaid.Assemble(one)
	if err != nil || len(got) != 2 || got[0].Day.Outcome != "laid" || got[1].Date != day(15) || *got[1].Hours[0].AirC != 14.25 || got[0].Last != 3 {
		t.Errorf("assembled %+v, %v", got, err)
	}
	if done, err := d.Recorded(t.Context(), uid, day(15)); err != nil || !reflect.DeepEqual(done, map[string][]job.Date{"J1": {day(15)}}) {
		t.Errorf("recorded %v, %v", done, err)
	}
	late := aslaid.Photo{ID: "p3", By: "crew", At: noon()}
	if err := d.PutPhoto(t.Context(), uid, "J1", day(14), late, image); !errors.Is(err, db.ErrRecordClosed) {
		t.Errorf("a photo of a closed day: %v", err)
	}
}
