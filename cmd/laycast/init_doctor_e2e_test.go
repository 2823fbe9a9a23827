package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"laycast/forecast/openmeteo"
	"laycast/notify"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
)

func TestInitWritesAConfigurationThatLoads(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"Quay Roofs", `O'Hara & "Sons": <roofs> # 1`, "Würth Dächer", "- no", "{}", "null", "1e3", `back\slash`} {
		dir := filepath.Join(t.TempDir(), "new")
		o := &office{t: t, dir: dir, config: "laycast.yaml"}
		out := o.must("init", "--firm="+name, "--zone", "Europe/Dublin", "--owner-email", "office@quay.example", "--dir", dir)
		path := filepath.Join(dir, "laycast.yaml")
		for _, want := range []string{path + " is written", name, "import", "doctor", "commercial", "sign-in"} {
			if !strings.Contains(out, want) {
				t.Errorf("init prints\n%s\nwithout %q", out, want)
			}
		}
		cfg, err := LoadConfig(path, nil)
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, o.read(path))
		}
		if cfg.Firm.Name != name || cfg.Firm.Zone != "Europe/Dublin" || cfg.Firm.Email != "office@quay.example" || cfg.Database != "sqlite:"+filepath.Join(dir, "laycast.db") {
			t.Errorf("%s: %+v", name, cfg)
		}
		if fi, err := os.Stat(filepath.Join(dir, "laycast.db")); err != nil || fi.Size() == 0 {
			t.Errorf("no database: %v", err)
		}
		// what was written is left alone
		before := o.read(path)
		o.fails(exitFail, []string{path, "already", "--dir"}, "init", "--firm", "Other", "--zone", "Europe/Dublin", "--owner-email", "x@quay.example", "--dir", dir)
		sameText(t, "the configuration", o.read(path), before)
		o.config = path
		o.takeIn(bookOf(1, "2027-05-03"))
	}
}

func TestInitRefusesWhatWouldNotLoad(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	o := &office{t: t, dir: dir, config: filepath.Join(dir, "laycast.yaml")}
	good := []string{"init", "--firm", "Quay Roofs", "--zone", "Europe/Dublin", "--owner-email", "office@quay.example"}
	with := func(i int, v string, more ...string) []string {
		args := append([]string{}, good...)
		args[i] = v
		return append(args, more...)
	}
	o.fails(exitUsage, []string{"--zone", "Europe/Dubin"}, with(4, "Europe/Dubin")...)
	o.fails(exitUsage, []string{"--owner-email", "office"}, with(6, "office")...)
	o.fails(exitUsage, []string{"--firm", "control character"}, with(2, "Quay\nBcc: x")...)
	o.fails(exitUsage, []string{"--firm"}, with(2, "")...)
	o.fails(exitUsage, []string{"--zone", "--owner-email"}, append(with(4, "Mars")[:6], "x")...)
	o.fails(exitUsage, []string{"--database"}, with(2, "Quay", "--database", "mysql://secret@x")...)
	o.fails(exitUsage, []string{"--zone"}, "init", "--firm", "Quay", "--owner-email", "office@quay.example")
	// a database that cannot be made leaves nothing behind
	o.fails(exitFail, []string{"database"}, with(2, "Quay", "--database", "sqlite:"+filepath.Join(dir, "none", "x.db"))...)
	if es, err := os.ReadDir(dir); err != nil || len(es) != 0 {
		t.Errorf("left behind: %v %v", es, err)
	}
}

// mailServer is a mail server on this machine that takes nothing.
func mailServer(t *testing.T) (addr string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return refuseMail{t}, nil }))
	s.Domain, s.ErrorLog = "mail.quay.example", quiet{}
	go func() { _ = s.Serve(l) }()
	t.Cleanup(func() { _ = s.Close() })
	return l.Addr().String()
}

type quiet struct{}

func (quiet) Printf(string, ...any) {}
func (quiet) Println(...any)        {}

// refuseMail fails the test when a mail comes.
type refuseMail struct{ t *testing.T }

func (r refuseMail) Mail(string, *smtp.MailOptions) error {
	r.t.Error("the doctor sent a mail")
	return nil
}
func (refuseMail) Rcpt(string, *smtp.RcptOptions) error { return nil }
func (refuseMail) Data(io.Reader) error                 { return nil }
func (refuseMail) Reset()                               {}
func (refuseMail) Logout() error                        { return nil }

// healthy is an office with nothing wrong with it.
func healthy(t *testing.T, mail string) *office {
	t.Helper()
	o := openOffice(t, "Europe/Dublin", fmt.Sprintf("mail: {smtp: \"smtp://%s\", tls: off}\n", mail))
	o.write("laycast.yaml", strings.Replace(o.read(o.config), "public_url: http:", "public_url: https:", 1))
	o.takeIn(bookOf(2, "2027-05-03"))
	return o
}

// diagnosis runs the doctor and gives what it found by what it looked at.
func (o *office) diagnosis(want int) map[string][]observation {
	o.t.Helper()
	code, out, errs := o.run(context.Background(), "doctor", "--json")
	if code != want {
		o.t.Errorf("doctor: exit %d, want %d\n%s%s", code, want, out, errs)
	}
	all := map[string][]observation{}
	for _, x := range decode[[]observation](o.t, out) {
		if (x.Grade == fine) != (x.Remedy == "") || x.Found == "" || strings.ContainsAny(x.Found+x.Remedy, "\r\n") {
			o.t.Errorf("%+v: only what is not well has a remedy", x)
		}
		all[x.About] = append(all[x.About], x)
	}
	return all
}

// diagnosed verifies that one of the things found is of this grade and says words.
func diagnosed(t *testing.T, found []observation, g grade, words ...string) {
	t.Helper()
next:
	for _, x := range found {
		if x.Grade != g {
			continue
		}
		for _, w := range words {
			if !strings.Contains(x.Found+" "+x.Remedy, w) {
				continue next
			}
		}
		return
	}
	t.Errorf("nothing is %s with %q in %+v", g, words, found)
}

func TestDoctorFindsNothingWrong(t *testing.T) {
	t.Parallel()
	o := healthy(t, mailServer(t))
	found := o.diagnosis(exitOK)
	for _, about := range []string{"configuration", "database", "clock", "disk", "source", "mail", "links"} {
		if len(found[about]) == 0 {
			t.Errorf("%s was not looked at", about)
		}
		for _, x := range found[about] {
			if x.Grade != fine {
				t.Errorf("%+v", x)
			}
		}
	}
	diagnosed(t, found["source"], fine, openmeteo.Credit)
	diagnosed(t, found["source"], fine, "ensemble", "Q-01")
	diagnosed(t, found["mail"], fine, "answers without TLS, on this machine")
	if o.source.asked() != 2 {
		t.Errorf("the source was asked %d times, want once at each endpoint", o.source.asked())
	}
	if ms := o.messages(); len(ms) != 0 {
		t.Errorf("messages %+v", ms)
	}
	if text := o.must("doctor"); !strings.Contains(text, "ok       database") {
		t.Errorf("it prints\n%s", text)
	}
}

func TestDoctorNamesWhatIsWrong(t *testing.T) {
	t.Parallel()
	taken, err := net.Listen("tcp", "127.0.0.1:0") // closed at once: nobody answers there
	if err != nil {
		t.Fatal(err)
	}
	dead := taken.Addr().String()
	_ = taken.Close()
	spoil := func(o *office, old, with string) {
		t.Helper()
		text := o.read(o.config)
		if !strings.Contains(text, old) {
			t.Fatalf("%q is not in\n%s", old, text)
		}
		o.write("laycast.yaml", strings.Replace(text, old, with, 1))
	}
	server := mailServer(t)
	for _, c := range []struct {
		name  string
		spoil func(o *office)
		about string
		g     grade
		words []string
	}{
		{"configuration", func(o *office) { spoil(o, "zone:", "zoen:") }, "configuration", wrong, []string{"laycast.yaml:1", "zoen", "config --check"}},
		{"no configuration", func(o *office) { o.config += "x" }, "configuration", wrong, []string{"laycast init"}},
		{"password file", func(o *office) { spoil(o, "tls: off", "tls: off, user: u, password_file: none") }, "configuration", wrong, []string{"password_file", "cannot be read"}},
		{"tls", func(o *office) { spoil(o, server, "mail.quay.example:587") }, "configuration", wrong, []string{"mail.tls", "mandatory"}},
		{"database", func(o *office) { spoil(o, "laycast.db", "none/laycast.db") }, "database", wrong, []string{"cannot be opened", "folder"}},
		{"source", func(o *office) { o.source.always(badPage) }, "source", wrong, []string{"open-meteo", "ensemble", "no go"}},
		{"source that lies", func(o *office) { o.source.always(htmlBody) }, "source", wrong, []string{"gives no"}},
		{"mail server", func(o *office) { spoil(o, server, dead) }, "mail", wrong, []string{dead, "connect"}},
		{"mail without TLS", func(o *office) { spoil(o, "tls: off", "tls: mandatory") }, "mail", wrong, []string{"STARTTLS"}},
		{"mail domain", func(o *office) { spoil(o, "tls: off", `tls: off, from: "Quay <x@other.example>"`) }, "mail", doubt, []string{"x@other.example", "SPF"}},
		{"no mail server", func(o *office) { spoil(o, "mail: {", "mail: {} #") }, "mail", doubt, []string{"--mail-dir"}},
		{"links in the clear", func(o *office) { spoil(o, "https:", "http:") }, "links", wrong, []string{"http://quay.example", "certificate"}},
		{"links to this machine", func(o *office) { spoil(o, "https://quay.example", "http://127.0.0.1:8642") }, "links", doubt, []string{"this machine only"}},
		{"open link key", func(o *office) {
			if err := os.Chmod(o.write("laycast.key", strings.Repeat("k", 32)), 0o644); err != nil {
				t.Fatal(err)
			}
		}, "links", wrong, []string{"laycast.key", "chmod 600"}},
		{"virtual clock", func(o *office) {
			h := o.house()
			defer h.close()
			if err := h.db.SetLife(context.Background(), h.firm.UID, ledger.Virtual, time.Date(2027, 5, 3, 0, 0, 0, 0, time.UTC)); err != nil {
				t.Fatal(err)
			}
		}, "clock", doubt, []string{"virtual clock", "3 May 2027 01:00 IST"}},
		{"clock behind", func(o *office) {
			h := o.house()
			defer h.close()
			d := ledger.Decision{Firm: h.firm.UID, Now: time.Now(), Messages: []notify.Message{{
				ID: "m", Name: notify.Name{Firm: h.firm.UID, Kind: notify.KindTrouble, Recipient: "office@quay.example", Channel: notify.Mail},
				Audience: notify.ToOwner, MessageID: "m@quay.example", Wire: []byte("x"), State: notify.Pending,
				Created: time.Now().Add(3 * time.Hour), NotBefore: time.Now(), Expires: time.Now().Add(9 * time.Hour),
			}}}
			if err := h.db.Commit(context.Background(), d); err != nil {
				t.Fatal(err)
			}
		}, "clock", wrong, []string{"behind what is stored", "set the machine's clock"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			o := healthy(t, server)
			c.spoil(o)
			want := exitOK
			if c.g == wrong {
				want = exitFail
			}
			found := o.diagnosis(want)
			diagnosed(t, found[c.about], c.g, c.words...)
			for about, xs := range found {
				for _, x := range xs {
					if about != c.about && x.Grade == wrong {
						t.Errorf("%+v is wrong too", x)
					}
				}
			}
		})
	}
}

func TestDoctorWarnsOfTheFreeHosts(t *testing.T) {
	t.Parallel()
	free, err := openmeteo.New(openmeteo.Config{}) // is only looked at, not asked
	if err != nil {
		t.Fatal(err)
	}
	own, err := openmeteo.New(openmeteo.Config{ForecastURL: "https://weather.quay.example", EnsembleURL: "https://weather.quay.example"})
	if err != nil {
		t.Fatal(err)
	}
	e := &examination{}
	e.terms(scheduler.NamedSource{Source: free, Credit: openmeteo.Credit, Free: free.Free()})
	diagnosed(t, e.found, doubt, "no commercial use", "forecast_url")
	diagnosed(t, e.found, fine, openmeteo.Credit)
	e = &examination{}
	e.terms(scheduler.NamedSource{Source: own, Credit: openmeteo.Credit, Free: own.Free()})
	if len(e.found) != 1 || e.found[0].Grade != fine {
		t.Errorf("%+v", e.found)
	}
}

func TestDoctorBeforeTheFirstImport(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	found := o.diagnosis(exitFail) // its public_url is in the clear
	diagnosed(t, found["database"], doubt, "laycast import")
	diagnosed(t, found["source"], fine, "Greenwich")
	diagnosed(t, found["links"], fine, "laycast.key is not there yet")
	o.fails(exitFail, []string{"one thing is wrong"}, "doctor")
}
