package main

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/notify"
	"laycast/notify/file"
	"laycast/notify/webhook"
	"laycast/scheduler"
)

func TestWebhookInTheConfiguration(t *testing.T) {
	files := map[string]string{"etc/w": "a long secret of our own\n"}
	c, err := parse(t, smallest+"webhook: {url: \"https://hook.firm.example/laycast\", secret_file: w, for: [crew]}\n", nil, files)
	if err != nil {
		t.Fatal(err)
	}
	if c.Webhook.URL != "https://hook.firm.example/laycast" || c.Webhook.Secret.Reveal() != "a long secret of our own" || !slices.Equal(c.Webhook.For, []notify.Audience{notify.ToCrew}) {
		t.Errorf("webhook %+v", c.Webhook)
	}
	for text, want := range map[string]string{
		`{url: "http://hook.firm.example/"}`:                           "https://",
		`{url: "https://hook.firm.example/"}`:                          "has no secret",
		`{url: "https://h.example/", secret_file: w, for: [customer]}`: "customers are written to by mail alone",
	} {
		if _, err := parse(t, smallest+"webhook: "+text+"\n", nil, files); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
}

// A webhook that fails, cuts the line and comes back gets each message to crews
// and owner at least once, under one id; the mails go their way meanwhile.
func TestFlakyWebhook(t *testing.T) {
	t.Parallel()
	o := killOffice(t)
	var mu sync.Mutex
	got, n := map[string]int{}, 0
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		var h notify.Hook
		body, err := io.ReadAll(r.Body)
		if err != nil || json.Unmarshal(body, &h) != nil || h.ID != r.Header.Get(webhook.HeaderID) {
			t.Errorf("%v: %q", err, body)
		}
		switch n++; n % 4 {
		case 1:
			w.WriteHeader(http.StatusServiceUnavailable)
		case 2:
			got[h.ID]++
			panic(http.ErrAbortHandler) // taken, and never said
		default:
			got[h.ID]++
		}
	}))
	defer srv.Close()
	hook, err := webhook.New(webhook.Config{URL: srv.URL, Secret: "a long secret of our own", Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	h := o.house()
	defer h.close()
	from, to := must(t, killFrom), must(t, killTo)
	p := post{
		transport: sorter{notify.Mail: file.Transport{Dir: o.mail}, notify.Webhook: hook}, redo: true,
		hooked: []notify.Audience{notify.ToCrew, notify.ToOwner},
	}
	if err := h.rehearse(context.Background(), from, to, p, scheduler.OwnerYes, zerolog.Nop()); err != nil {
		t.Fatal(err)
	}
	ms, err := h.db.Messages(context.Background(), h.firm.UID)
	if err != nil {
		t.Fatal(err)
	}
	mails, hooks, twice := map[string]bool{}, 0, 0
	for _, m := range ms {
		if m.Channel == notify.Mail && m.Audience != notify.ToCustomer {
			mails[m.MessageID] = true
		}
	}
	for _, m := range ms {
		if m.Channel != notify.Webhook {
			continue
		}
		hooks++
		if m.Audience == notify.ToCustomer || !mails[m.MessageID] {
			t.Errorf("%s to %s by webhook has no mail", m.Kind, m.Recipient)
		}
		if m.State != notify.Sent && m.State != notify.Withdrawn || m.State == notify.Sent && got[m.ID] == 0 {
			t.Errorf("%s to %s by webhook is %s (%s) and came %d times", m.Kind, m.Recipient, m.State, m.Note, got[m.ID])
		}
		if got[m.ID] > 1 {
			twice++
		}
	}
	if hooks < 4 || hooks != len(mails) || twice == 0 {
		t.Errorf("%d by webhook of %d mails, %d twice", hooks, len(mails), twice)
	}
	for _, m := range ms {
		if m.Channel == notify.Mail && m.Kind == notify.KindCall && m.State != notify.Sent {
			t.Errorf("the mail %s to %s is %s", m.Kind, m.Recipient, m.State)
		}
	}
}

func must(t *testing.T, s string) time.Time {
	t.Helper()
	v, err := parseTime(s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
