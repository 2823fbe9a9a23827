package webhook_test

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/notify/webhook"
)

const secret = "an invented secret of some length"

var now = time.Date(2027, 4, 14, 21, 0, 0, 0, time.UTC)

func message(t *testing.T) notify.Message {
	t.Helper()
	mail := notify.Message{
		Name: notify.Name{Firm: "saltbox", Kind: notify.KindCall, Job: "J-104", Visit: 1, Date: job.Date{Year: 2027, Month: 4, Day: 15},
			Occasion: "evening", Recipient: "heron@saltbox.example", Channel: notify.Mail},
		Audience: notify.ToCrew, MessageID: "abc@saltbox.example", Subject: "GO tomorrow, Heron: 24 m² garage roof", Plain: "Go tomorrow\n", Created: now, Expires: now.Add(time.Hour),
	}
	m, ok, err := mail.ByHook()
	if err != nil || !ok || m.ID == mail.ID || m.Channel != notify.Webhook {
		t.Fatalf("%+v, %t, %v", m.Name, ok, err)
	}
	return m
}

func transport(t *testing.T, url string) *webhook.Transport {
	t.Helper()
	tr, err := webhook.New(webhook.Config{URL: url, Secret: secret, Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// TestSigned is what a receiver checks (docs/webhook.md).
func TestSigned(t *testing.T) {
	m := message(t)
	var got notify.Hook
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil || json.Unmarshal(body, &got) != nil {
			t.Errorf("%v: %q", err, body)
		}
		at := r.Header.Get(webhook.HeaderTimestamp)
		if at != strconv.FormatInt(now.Unix(), 10) || r.Header.Get(webhook.HeaderID) != m.ID || r.Method != http.MethodPost {
			t.Errorf("%s with %v", r.Method, r.Header)
		}
		if r.Header.Get(webhook.HeaderSignature) != webhook.Sign(secret, at, body) || webhook.Sign(secret, at, append(body, ' ')) == webhook.Sign(secret, at, body) {
			t.Error("the signature is not that of the body")
		}
	}))
	defer srv.Close()
	if err := transport(t, srv.URL).Deliver(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	if got.ID != m.ID || got.MailID != "abc@saltbox.example" || got.Subject != m.Subject || got.Text != "Go tomorrow\n" || got.Date != "2027-04-15" || !strings.Contains(got.Note, "no permission") {
		t.Errorf("sent %+v", got)
	}
}

// TestSignatureIsTheStandardOne holds Sign against a value worked out with
// another tool: printf '1700000000.{}' | openssl dgst -sha256 -hmac key
func TestSignatureIsTheStandardOne(t *testing.T) {
	const want = "sha256=9d713ed406bb7076d4123f0dc2c39d2df5c654ed4b0cd56b52c8b4c940bd63ae"
	if got := webhook.Sign("key", "1700000000", []byte("{}")); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// TestFlaky: what each answer and each break means.
func TestFlaky(t *testing.T) {
	for _, c := range []struct {
		name   string
		answer http.HandlerFunc
		class  notify.FailureClass
	}{
		{"204", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(204) }, ""},
		{"503", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(503) }, notify.Retry},
		{"429", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(429) }, notify.Retry},
		{"401", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(401) }, notify.Retry},
		{"404", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(404) }, notify.Retry},
		{"a redirect", func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "https://elsewhere.example/", http.StatusFound)
		}, notify.Retry},
		{"410", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(410) }, notify.Permanent},
		{"422", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(422) }, notify.Permanent},
		{"cut", func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }, notify.Doubt},
	} {
		t.Run(c.name, func(t *testing.T) {
			srv := httptest.NewServer(c.answer)
			defer srv.Close()
			err := transport(t, srv.URL).Deliver(t.Context(), message(t))
			var f *notify.Failure
			if c.class == "" && err != nil || c.class != "" && (!errors.As(err, &f) || f.Class != c.class) {
				t.Fatalf("got %v, want %q", err, c.class)
			}
			if err != nil && strings.Contains(err.Error(), srv.URL) {
				t.Errorf("the address is in %q", err)
			}
		})
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := transport(t, "http://127.0.0.1:9").Deliver(ctx, message(t)); err == nil {
		t.Error("told to stop, it delivered")
	}
}

func TestRefuses(t *testing.T) {
	for url, s := range map[string]string{
		"http://hook.firm.example/": secret, "ftp://127.0.0.1/": secret, "https://a:b@hook.firm.example/": secret, "nonsense": secret,
		"https://hook.firm.example/": "short",
	} {
		if _, err := webhook.New(webhook.Config{URL: url, Secret: s, Now: time.Now}); err == nil {
			t.Errorf("took %s with %q", url, s)
		}
	}
	for _, m := range []notify.Message{
		{Audience: notify.ToCustomer, Plain: "x", Name: notify.Name{Channel: notify.Mail}},
		{Audience: notify.ToOwner, Plain: "x", Name: notify.Name{Channel: notify.Mail, Kind: notify.KindSignIn}},
		{Audience: notify.ToCrew, Plain: "x", Name: notify.Name{Channel: notify.Webhook}},
	} {
		if _, ok, _ := m.ByHook(); ok {
			t.Errorf("%s %s goes by webhook", m.Audience, m.Kind)
		}
	}
}
