package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"laycast/web"
)

// A customer of a firm at work asks what is kept, and to be forgotten: no mail that
// was sent tells of them any more, whoever it went to, and the firm goes on.
func TestACustomerIsForgotten(t *testing.T) {
	t.Parallel()
	const from, cancelled, to = "2027-05-03T00:00:00Z", "2027-05-05T12:00:00Z", "2027-05-05T20:00:00Z"
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(2, "2027-05-04"))
	o.rehearse(from, cancelled)

	got := decode[customerJSON](t, o.must("customer", "export", "customer1@mail.example"))
	if got.Name != "Customer 1" || strings.Join(got.Jobs, " ") != "Q-01" {
		t.Errorf("exported is %q with jobs %v", got.Name, got.Jobs)
	}
	told := false
	for _, m := range got.Tables["messages"] {
		text, _ := m["text"].(string)
		told = told || m["recipient"] == "customer1@mail.example" && strings.Contains(text, "To: ") && strings.Contains(text, "Roof 1, Pier Road")
		if created, _ := m["created"].(string); !strings.HasPrefix(created, "2027-05-0") {
			t.Errorf("a message was made at %v", m["created"])
		}
	}
	if !told || len(got.Tables["jobs"]) != 1 || len(got.Tables["links"]) == 0 || got.Tables["links"][0]["hash"] != nil {
		t.Errorf("exported are %v", got.Tables)
	}

	o.fails(exitFail, []string{"still to come", "laycast job cancel Q-01"}, "customer", "erase", "Q-01", "--yes")
	o.must("job", "cancel", "Q-01", "--now", cancelled)
	o.rehearse(from, to)
	o.fails(exitFail, []string{"nothing was erased"}, "customer", "erase", "Q-01")
	o.fails(exitFail, []string{"nobody@mail.example", "laycast job list"}, "customer", "erase", "nobody@mail.example", "--yes")
	if !strings.Contains(o.sent(t), "1 Pier Road") {
		t.Fatal("no mail tells of the customer, so this test shows nothing")
	}
	out := o.must("customer", "erase", "Q-01", "--yes")
	for _, w := range []string{"Q-01 is erased", "texts of", "Kept:", "backups"} {
		if !strings.Contains(out, w) {
			t.Errorf("erase says\n%s\nwithout %q", out, w)
		}
	}
	for _, w := range []string{"customer1@mail.example", "Customer 1", "1 Pier Road", "Roof 1, Pier"} {
		if strings.Contains(o.sent(t), w) {
			t.Errorf("a mail that is kept still tells of %q", w)
		}
	}
	if all := o.sent(t); !strings.Contains(all, "2 Pier Road") {
		t.Error("the other customer's mails are gone too")
	}
	o.fails(exitFail, []string{"Q-99"}, "customer", "export", "Q-99")
	o.rehearse(from, "2027-05-06T20:00:00Z") // the firm goes on
	if out := o.must("job", "show", "Q-01"); !strings.Contains(out, "(erased)") {
		t.Errorf("the job is\n%s", out)
	}
}

// Without --yes it asks, and anything but yes erases nothing.
func TestErasingAsks(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(2, "2027-05-04"))
	o.must("job", "cancel", "Q-01")
	answer := func(typed string) (int, string, string) {
		var out, errs bytes.Buffer
		code := run(t.Context(), []string{"--config", o.config, "customer", "erase", "customer 1"},
			world{In: strings.NewReader(typed), Out: &out, Err: &errs, Env: func(string) string { return "" }})
		return code, out.String(), errs.String()
	}
	for _, no := range []string{"", "\n", "no\n", "yes please\n", "y\n"} {
		if code, out, errs := answer(no); code != exitFail || !strings.Contains(out, "Customer 1 <customer1@mail.example>, job Q-01") || !strings.Contains(errs, "nothing was erased") {
			t.Errorf("%q: exit %d\n%s%s", no, code, out, errs)
		}
	}
	if code, out, errs := answer("yes\n"); code != exitOK || !strings.Contains(out, "is erased") {
		t.Errorf("yes: exit %d\n%s%s", code, out, errs)
	}
	o.fails(exitFail, []string{"no job has"}, "customer", "export", "customer1@mail.example")
	o.must("job", "cancel", "Q-02")
	o.fails(exitUsage, []string{"--yes"}, "customer", "erase", "Q-02", "--json")
	if got := decode[erasedJSON](t, o.must("customer", "erase", "Q-02", "--yes", "--json")); len(got.Jobs) != 1 || got.Jobs[0] != "Q-02" || !got.Swept {
		t.Errorf("as JSON: %+v", got)
	}
}

// sent gives the texts and heads of all mails that the database keeps.
func (o *office) sent(t *testing.T) string {
	t.Helper()
	s := &session{world: world{Env: func(string) string { return "" }}, configPath: o.config}
	h, err := s.open(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer h.close()
	ms, err := h.db.Messages(t.Context(), h.firm.UID)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, m := range ms {
		m, err := h.db.Message(t.Context(), h.firm.UID, m.ID)
		if err != nil {
			t.Fatal(err)
		}
		b.WriteString(m.Recipient + "\n" + m.Subject + "\n" + m.Reason + "\n" + m.Note + "\n")
		if len(m.Wire) == 0 {
			continue
		}
		text, err := web.PlainText(m.Wire)
		if err != nil {
			t.Fatal(err)
		}
		page, err := web.HTML(m.Wire)
		if err != nil {
			page = "" // some are text alone
		}
		b.WriteString(strings.Join(strings.Fields(text+page), " ") + "\n")
	}
	return b.String()
}
