package browser

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// firm is the demo's invented firm, its story told, served with a sign-in by the
// built program.
type firm struct {
	dir, bin, config string
	base             string // address of the pages
	demo             string // address of the demo's own pages, which show the mails
	stop             []func()
}

// theFirm is started once for all tests of the package, for its story takes half
// a minute.
var theFirm = sync.OnceValues(startFirm)

func TestMain(m *testing.M) {
	flag.Parse()
	code := m.Run()
	if started {
		if f, err := theFirm(); f != nil && err == nil {
			f.close()
		}
	}
	os.Exit(code)
}

// started says that theFirm was asked for.
var started bool

// openFirm gives the firm, or skips where there is no browser to look at it with.
func openFirm(t testing.TB) *firm {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes long: run without -short")
	}
	if raceOn {
		t.Skip("the program is another process, so the race detector sees nothing of it: run without -race")
	}
	started = true
	f, err := theFirm()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func startFirm() (*firm, error) {
	dir, err := os.MkdirTemp("", "laycast-browser-")
	if err != nil {
		return nil, err
	}
	f := &firm{dir: dir, bin: filepath.Join(dir, "laycast"), config: filepath.Join(dir, "laycast.yaml")}
	if err := f.start(); err != nil {
		f.close()
		return nil, err
	}
	return f, nil
}

func (f *firm) start() error {
	if out, err := exec.Command("go", "build", "-o", f.bin, "laycast/cmd/laycast").CombinedOutput(); err != nil {
		return fmt.Errorf("build laycast: %w\n%s", err, out)
	}
	told, err := f.run("demo", "--once", "--dir", f.dir)
	if err != nil {
		return err
	}
	morning, err := storysEnd(told)
	if err != nil {
		return err
	}
	address, err := freeAddress()
	if err != nil {
		return err
	}
	// no forecast comes any more: what the story fetched is a few hours old
	text := fmt.Sprintf(`firm: {name: Saltbox Laminates, zone: America/Halifax, email: office@saltbox.example, phone: 902 555 0100}
costs: {currency: CAD}
listen: %[1]s
public_url: http://%[1]s
database: sqlite:%[2]s
link_key_file: %[3]s
source: {kind: open-meteo, name: replay, forecast_url: "http://127.0.0.1:9", ensemble_url: "http://127.0.0.1:9", contact: office@saltbox.example}
`, address, filepath.Join(f.dir, "laycast.db"), filepath.Join(f.dir, "laycast.key"))
	if err := os.WriteFile(f.config, []byte(text), 0o600); err != nil {
		return err
	}
	f.base = "http://" + address
	return f.serve(f.base, "--config", f.config, "serve", "--pretend-now", morning, "--mail-dir", filepath.Join(f.dir, "mail"))
}

// storysEnd gives the morning on which the demo's story ends, in Halifax, as it was
// told, a little after the second look; the firm is served from then on.
func storysEnd(told string) (string, error) {
	said := regexp.MustCompile(`THE SECOND LOOK, \w+ (\d+ \w+) 05:30`).FindStringSubmatch(told)
	if said == nil {
		return "", fmt.Errorf("the demo tells of no second look:\n%s", told)
	}
	zone, err := time.LoadLocation("America/Halifax")
	if err != nil {
		return "", err
	}
	at, err := time.ParseInLocation("2 January 2006 15:04", said[1]+" 2027 06:05", zone)
	return at.UTC().Format(time.RFC3339), err
}

// mails starts the demo itself beside the firm, for its pages of mails, and gives
// where they are.
func (f *firm) mails(t testing.TB) string {
	t.Helper()
	if f.demo != "" {
		return f.demo
	}
	dir := filepath.Join(f.dir, "demo")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	address, err := freeAddress()
	if err != nil {
		t.Fatal(err)
	}
	if err := f.serve("http://"+address, "demo", "--dir", dir, "--listen", address); err != nil {
		t.Fatal(err)
	}
	f.demo = "http://" + address
	return f.demo
}

// write writes a file into the firm's folder and gives its path.
func (f *firm) write(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(f.dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// run runs the program to its end and gives what it printed.
func (f *firm) run(args ...string) (string, error) {
	var out, errs bytes.Buffer
	c := exec.Command(f.bin, args...)
	c.Stdout, c.Stderr, c.Env = &out, &errs, []string{"PATH=" + os.Getenv("PATH"), "TMPDIR=" + os.TempDir(), "HOME=" + f.dir}
	if err := c.Run(); err != nil {
		return "", fmt.Errorf("laycast %s: %w\n%s", strings.Join(args, " "), err, errs.String())
	}
	return out.String(), nil
}

// serve starts the program as a server and waits until it answers.
func (f *firm) serve(base string, args ...string) error {
	ctx, cancel := context.WithCancel(context.Background())
	var errs bytes.Buffer
	c := exec.CommandContext(ctx, f.bin, args...)
	c.Stderr, c.Env = &errs, []string{"PATH=" + os.Getenv("PATH"), "TMPDIR=" + f.dir, "HOME=" + f.dir}
	c.Cancel = func() error { return c.Process.Signal(os.Interrupt) }
	c.WaitDelay = 10 * time.Second
	if err := c.Start(); err != nil {
		cancel()
		return err
	}
	ended := make(chan error, 1)
	go func() { ended <- c.Wait() }()
	f.stop = append(f.stop, func() { cancel(); <-ended })
	ask := time.NewTicker(200 * time.Millisecond)
	defer ask.Stop()
	for patience := time.After(3 * time.Minute); ; {
		select {
		case err := <-ended:
			ended <- err
			return fmt.Errorf("laycast %s ended: %w\n%s", args[0], err, errs.String())
		case <-patience:
			return fmt.Errorf("laycast %s does not answer", args[0])
		case <-ask.C:
			if r, err := http.Get(base + "/static/none"); err == nil {
				r.Body.Close()
				return nil
			}
		}
	}
}

func (f *firm) close() {
	for _, stop := range f.stop {
		stop()
	}
	os.RemoveAll(f.dir)
}

// link has the program make a link.
func (f *firm) link(t testing.TB, args ...string) string {
	t.Helper()
	out, err := f.run(append([]string{"--config", f.config, "link"}, append(args, "--json")...)...)
	if err != nil {
		t.Fatal(err)
	}
	var l struct{ URL string }
	if err := json.Unmarshal([]byte(out), &l); err != nil || l.URL == "" {
		t.Fatalf("%v in %s", err, out)
	}
	return l.URL
}

func freeAddress() (string, error) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	defer ln.Close()
	return ln.Addr().String(), nil
}
