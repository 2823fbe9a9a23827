package main

import (
	"strings"
	"testing"
)

// A season of two weeks at an invented quay, without any configuration: all
// five policies, none above the bound.
func TestReplayOfARecord(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	o := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	path := inventedRecord(t)
	args := []string{"replay", "--weather", path, "--jobs", "8", "--crews", "1", "--days", "14", "--from", "09-04", "--members", "10"}
	got := decode[[]replayJSON](t, o.must(append(args, "--json")...))
	if len(got) != 1 || got[0].Season != "quay_2023, 8 jobs" || len(got[0].Policies) != 5 || got[0].Bound <= 0 || got[0].Found > got[0].Bound {
		t.Fatalf("got %+v", got)
	}
	for _, p := range got[0].Policies {
		if p.Jobs != 8 || p.Share > 1 || p.Lays < p.NotSealed {
			t.Errorf("%+v", p)
		}
	}
	if out := o.must(append(args, "--markdown")...); !strings.Contains(out, "| laycast | ") || !strings.Contains(out, "#### quay_2023, 8 jobs") {
		t.Errorf("markdown:\n%s", out)
	}
}

func TestReplayRefusesWhatNoSeasonCanBe(t *testing.T) {
	t.Parallel()
	o := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	path := inventedRecord(t)
	for _, bad := range [][]string{{"--from", "31-04"}, {"--days", "3"}, {"--crews", "0"}, {"--jobs", "0"}, {"--members", "2"}, {"--spread", "3"}} {
		o.fails(exitUsage, bad[:1], append([]string{"replay", "--weather", path}, bad...)...)
	}
}
