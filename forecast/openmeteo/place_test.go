package openmeteo

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

// invented places, in the shape of the index's answers
const placesBody = `{"results":[
{"id":1,"name":"Larch Hill","latitude":44.71,"longitude":-63.52,"elevation":38.0,"timezone":"America/Halifax","country":"Canada","admin1":"Nova Scotia","admin2":"Fern County"},
{"id":2,"name":"Larch Hill","latitude":53.9,"longitude":-7.3,"elevation":9999,"timezone":"Nowhere/Else","country":"Ireland"},
{"id":3,"name":"Nowhere","longitude":1},{"id":4,"latitude":1,"longitude":1},{"id":5,"name":"Off","latitude":91,"longitude":1}],"generationtime_ms":1.5}`

func TestPlacesAreFound(t *testing.T) {
	var asked *http.Request
	status, body := 200, placesBody
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = r
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		w.WriteHeader(status)
		_, _ = w.Write([]byte(body))
	}))
	defer srv.Close()
	x, err := NewIndex(srv.URL+"/geo", Config{Key: "secret", Contact: "office@quay.example"})
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2027, 4, 12, 8, 0, 0, 0, time.UTC)
	got, err := x.Find(t.Context(), "Larch & Hill?name=x", now)
	if err != nil || len(got) != 2 {
		t.Fatalf("%+v, %v", got, err)
	}
	if want := (Place{"Larch Hill, Fern County, Nova Scotia, Canada", 44.71, -63.52, 38, "America/Halifax"}); got[0] != want {
		t.Errorf("%+v, want %+v", got[0], want)
	}
	if want := (Place{"Larch Hill, Ireland", 53.9, -7.3, 0, ""}); got[1] != want {
		t.Errorf("%+v, want %+v", got[1], want)
	}
	if q := asked.URL.Query(); asked.URL.Path != "/geo/v1/search" || q.Get("name") != "Larch & Hill?name=x" || len(q["name"]) != 1 || asked.Header.Get("X-Api-Key") != "secret" {
		t.Errorf("asked %s, %v", asked.URL, asked.Header)
	}
	body = `{"generationtime_ms":0.9}`
	if got, err := x.Find(t.Context(), "Zzz", now); err != nil || len(got) != 0 {
		t.Errorf("none: %v, %v", got, err)
	}
	for _, c := range []struct {
		status int
		body   string
		kind   forecast.FailureKind
	}{{200, `[`, forecast.Broken}, {200, `{"error":true,"reason":"x"}`, forecast.Broken}, {429, `{"error":true,"reason":"Minutely limit"}`, forecast.Quota}, {503, "down", forecast.Server}} {
		status, body = c.status, c.body
		_, err := x.Find(t.Context(), "Larch Hill", now)
		var f *forecast.Failure
		if !errors.As(err, &f) || f.Kind != c.kind || strings.Contains(err.Error(), "secret") {
			t.Errorf("%d %s: %v", c.status, c.body, err)
		}
	}
	if _, err := NewIndex("ftp://x", Config{}); err == nil {
		t.Error("an address that is none")
	}
}

// TestPlacesOfTheFixtures reads the recorded answers beside the repository.
func TestPlacesOfTheFixtures(t *testing.T) {
	const dir = "../../../shared/forecast_fixtures/"
	for name, want := range map[string]int{"geocoding.json": 2, "geocoding_empty.json": 0} {
		body, err := os.ReadFile(dir + name)
		if err != nil {
			t.Skipf("the recorded answers are not here: lay the folder shared beside the repository (%v)", err)
		}
		if got, err := decodePlaces(body); err != nil || len(got) != want {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}

func FuzzPlaces(f *testing.F) {
	f.Add([]byte(placesBody))
	f.Add([]byte(`{"generationtime_ms":0.9}`))
	f.Add([]byte(`{"results":[{"name":"x","latitude":1e999,"longitude":null}]}`))
	f.Fuzz(func(t *testing.T, body []byte) {
		got, err := decodePlaces(body)
		if err != nil {
			return
		}
		for _, p := range got {
			if p.Name == "" || !(p.Lat >= -90 && p.Lat <= 90) || !(p.Lon >= -180 && p.Lon <= 180) || !(p.ElevationM > -430 && p.ElevationM < 9000) {
				t.Fatalf("%+v", p)
			}
		}
		if len(got) > mostPlaces {
			t.Fatalf("%d places", len(got))
		}
	})
}
