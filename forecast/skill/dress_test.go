package skill

import (
	"context"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/replay"
)

var start = time.Date(2026, 4, 1, 22, 0, 0, 0, time.UTC)

// issueAt gives an issue of invented weather with members that are too sure.
func issueAt(t testing.TB, now time.Time, opt replay.Options) forecast.Issue {
	t.Helper()
	src, err := replay.New(replay.Invent(3, 53.4, -6.2, 2026), opt)
	if err != nil {
		t.Fatal(err)
	}
	return fetched(t, src, now)
}

func fetched(t testing.TB, src *replay.Source, now time.Time) forecast.Issue {
	t.Helper()
	var is forecast.Issue
	for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
		runs, err := src.Fetch(context.Background(), forecast.Ask{Endpoint: ep, Cells: []forecast.Cell{{Lat: 53.4, Lon: -6.2}}, Now: now})
		if err != nil {
			t.Fatal(err)
		}
		if ep == forecast.Ensemble {
			is.Ens = &runs[0]
		} else {
			is.Det = &runs[0]
		}
	}
	return is
}

// sane fails where members break what holds of all weather.
func sane(t *testing.T, h forecast.Hours) {
	t.Helper()
	for m := range h.Members {
		for i := range h.N {
			at := func(v forecast.Var) float64 { return float64(h.At(v, m, i)) }
			if !forecast.Known(h.At(forecast.Air, m, i)) {
				continue
			}
			rh := relativeHumidity(at(forecast.Air), at(forecast.Dew))
			switch {
			case at(forecast.Dew) > at(forecast.Air)+1e-4:
				t.Fatalf("member %d hour %d: dew point %g above air %g", m, i, at(forecast.Dew), at(forecast.Air))
			case math.Abs(rh-at(forecast.RH)) > 0.05:
				t.Fatalf("member %d hour %d: humidity %g does not go with dew point and air (%g)", m, i, at(forecast.RH), rh)
			case !(at(forecast.Wind) >= 0) || !(at(forecast.Gust) >= at(forecast.Wind)-1e-4):
				t.Fatalf("member %d hour %d: wind %g, gust %g", m, i, at(forecast.Wind), at(forecast.Gust))
			case !(at(forecast.Rain) >= 0) || !(at(forecast.Cloud) >= 0 && at(forecast.Cloud) <= 100) || !(at(forecast.Solar) >= 0):
				t.Fatalf("member %d hour %d: rain %g, cloud %g, solar %g", m, i, at(forecast.Rain), at(forecast.Cloud), at(forecast.Solar))
			}
		}
	}
}

func TestDressedMembersAreWeather(t *testing.T) {
	is := issueAt(t, start, replay.Options{Seed: 5, Spread: 0.5})
	s := Prior()
	got := Dress(is, &s)
	if n := got.Ens.Hours.Members; n != DressedMembers || got.Ens.Parents != is.Ens.Hours.Members {
		t.Fatalf("%d members of %d parents, from %d raw", n, got.Ens.Parents, is.Ens.Hours.Members)
	}
	if got.Det != is.Det || got.Ens.Digest != is.Ens.Digest || is.Ens.Parents != 0 {
		t.Error("the issue's runs do not keep their identity")
	}
	sane(t, got.Ens.Hours)
	if again := Dress(is, &s); !reflect.DeepEqual(again.Ens.Hours, got.Ens.Hours) {
		t.Error("the same issue gives other members")
	}
	if twice := Dress(got, &s); twice.Ens != got.Ens {
		t.Error("what is dressed is dressed again")
	}
}

func TestOneRunIsDressedToo(t *testing.T) {
	is := issueAt(t, start, replay.Options{Seed: 5})
	is.Ens = nil
	s := Prior()
	if got := Dress(is, &s); got.Ens != nil {
		t.Fatal("an ensemble that is missing was made up")
	}
	is.DetOnly = true
	got := Dress(is, &s)
	if got.Ens == nil || got.Ens.Hours.Members != DressedMembers || got.Ens.Parents != 1 || got.Ens.Endpoint != forecast.Ensemble {
		t.Fatalf("%+v", got.Ens)
	}
	if !got.Ens.Hours.Start.Equal(start) {
		t.Errorf("members from %s, want from now on: %s", got.Ens.Hours.Start, start)
	}
	sane(t, got.Ens.Hours)
}

func TestNothingToDress(t *testing.T) {
	s := Prior()
	if got := Dress(forecast.Issue{}, &s); got.Det != nil || got.Ens != nil {
		t.Error("an empty issue has members")
	}
}

// The hours before an end are those of the whole, to the last bit, wherever the end
// lies, and whatever is missing.
func TestDressedUntilIsTheWholesBeginning(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 7))
	s := Prior()
	for n := range 8 {
		is := issueAt(t, start.Add(time.Duration(rng.IntN(2000))*time.Hour), replay.Options{Seed: uint64(n), Spread: 0.5})
		if n%4 == 3 { // one run alone
			is.Ens, is.DetOnly = nil, true
		} else { // holes
			for range 40 {
				col := is.Ens.Hours.Cols[rng.IntN(int(forecast.Solar)+1)]
				if col != nil {
					col[rng.IntN(len(col))] = forecast.Unknown()
				}
			}
		}
		whole := Dress(is, &s).Ens
		for range 6 {
			end := whole.Hours.Start.Add(time.Duration(rng.IntN(60*whole.Hours.N)) * time.Minute)
			got := DressUntil(is, &s, end).Ens
			want := whole.Until(end)
			if want.Hours.N == 0 {
				want = whole.Until(whole.Hours.Start.Add(time.Hour))
			}
			if got.Hours.N != want.Hours.N || got.Hours.Members != want.Hours.Members || got.Parents != want.Parents || got.Digest != want.Digest {
				t.Fatalf("until %s: %d hours of %d members, want %d of %d", end, got.Hours.N, got.Hours.Members, want.Hours.N, want.Hours.Members)
			}
			for v, col := range want.Hours.Cols {
				for i, x := range col {
					if math.Float32bits(x) != math.Float32bits(got.Hours.Cols[v][i]) {
						t.Fatalf("until %s: %v of value %d is %g, of the whole %g", end, forecast.Var(v), i, got.Hours.Cols[v][i], x)
					}
				}
				if (col == nil) != (got.Hours.Cols[v] == nil) {
					t.Fatalf("%v is there in one alone", forecast.Var(v))
				}
			}
		}
	}
}

func BenchmarkDress(b *testing.B) {
	is := issueAt(b, start, replay.Options{Seed: 5})
	s := Prior()
	b.ReportAllocs()
	for b.Loop() {
		Dress(is, &s)
	}
}

// BenchmarkDressTomorrow is what a call reads, against BenchmarkDress: 78 hours.
func BenchmarkDressTomorrow(b *testing.B) {
	is := issueAt(b, start, replay.Options{Seed: 5})
	s := Prior()
	b.ReportAllocs()
	for b.Loop() {
		DressUntil(is, &s, start.Add(78*time.Hour))
	}
}
