package main

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"laycast/scheduler/task"
)

// TestATimeChangedOnThePages: the evening call comes at the time that the owner set,
// in whichever process; a time in the configuration file comes before it.
func TestATimeChangedOnThePages(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(3, "2027-05-03"))
	o.rehearse("2027-05-03T00:00:00Z", "2027-05-05T10:00:00Z")
	h := o.house()
	defer h.close()
	due := func(n task.Name, want string) {
		t.Helper()
		tasks, err := h.db.Tasks(t.Context(), h.firm.UID)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range tasks {
			if got := x.Due.UTC().Format(time.RFC3339); x.Name == n && (got != want || !x.Slot.Equal(x.Due)) {
				t.Errorf("%s is due at %s for %s, want %s", n, got, x.Slot, want)
			}
		}
	}
	due(task.Call, "2027-05-05T17:00:00Z")
	ask := asker(t, h, time.Date(2027, 5, 5, 10, 0, 0, 0, time.UTC))
	form := url.Values{"seen": {"0"}, "times.call": {"19:30"}, "times.absence": {"19:50"}, "times.evening_fetch": {"18:45"}, "times.second_look": {"05:45"}}
	wrong := url.Values{"seen": {"0"}, "times.call": {"19:30"}}
	if body := ask(http.MethodPost, "/settings", wrong, http.StatusUnprocessableEntity); !strings.Contains(body, "has to come before the question whether every crew was told (18:20)") || !strings.Contains(body, `value="19:30"`) {
		t.Errorf("a call after the check that it was heard:\n%s", body)
	}
	due(task.Call, "2027-05-05T17:00:00Z")
	ask(http.MethodPost, "/settings", form, http.StatusSeeOther)
	due(task.Call, "2027-05-05T18:30:00Z")
	due(task.Absence, "2027-05-05T18:50:00Z")
	due(task.SecondLook, "2027-05-06T04:45:00Z")
	due(task.Replan, "2027-05-05T10:00:00Z")
	if body := ask(http.MethodGet, "/log", nil, http.StatusOK); !strings.Contains(body, "times.call 18:00 to 19:30") {
		t.Errorf("the log does not tell of the change:\n%s", body)
	}

	o.rehearse("2027-05-03T00:00:00Z", "2027-05-05T18:15:00Z")
	due(task.Call, "2027-05-05T18:30:00Z") // not made at the old time
	o.rehearse("2027-05-03T00:00:00Z", "2027-05-05T18:40:00Z")
	due(task.Call, "2027-05-06T18:30:00Z")

	o.write("laycast.yaml", o.read(o.config)+"times: {call: \"15 19 * * *\"}\n")
	o.rehearse("2027-05-03T00:00:00Z", "2027-05-05T18:45:00Z")
	due(task.Call, "2027-05-06T18:15:00Z")
	due(task.Absence, "2027-05-05T18:50:00Z")
}
