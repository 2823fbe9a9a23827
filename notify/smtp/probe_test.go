package smtp_test

import (
	"context"
	"errors"
	"testing"

	"laycast/notify/smtp"
)

func TestProbeTriesTheServerAndSendsNothing(t *testing.T) {
	b := &box{mechs: []string{"PLAIN"}}
	cfg := open(serve(t, b, nil, false))
	cfg.User, cfg.Password = "office", "right"
	if err := transport(t, cfg).Probe(context.Background()); err != nil {
		t.Fatal(err)
	}
	if len(b.signedIn) != 1 || len(b.all()) != 0 {
		t.Errorf("signed in %v, delivered %v", b.signedIn, b.all())
	}
	cfg.Password = "wrong"
	var f *smtp.Failure
	if err := transport(t, cfg).Probe(context.Background()); !errors.As(err, &f) || f.Step != "sign in as office" {
		t.Errorf("with a wrong password: %v", err)
	}
	cfg.URL = "smtp://127.0.0.1:1"
	if err := transport(t, cfg).Probe(context.Background()); !errors.As(err, &f) {
		t.Errorf("with no server: %v", err)
	}
}
