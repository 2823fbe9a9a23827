package main

import (
	"encoding/json"
	"io"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"go.yaml.in/yaml/v4"
)

// metricKind is what the list and the daemon must agree on.
type metricKind struct{ kind, labels string }

// listedMetrics reads the table of docs/metrics.md.
func listedMetrics(t *testing.T) map[string]metricKind {
	t.Helper()
	b, err := os.ReadFile("../../docs/metrics.md")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]metricKind{}
	row := regexp.MustCompile("(?m)^\\| `(laycast_[a-z_]+)` \\| (\\w+) \\| ([a-z, ]*) ?\\| .+ \\|$")
	for _, m := range row.FindAllStringSubmatch(string(b), -1) {
		labels := strings.Split(strings.ReplaceAll(strings.TrimSpace(m[3]), " ", ""), ",")
		slices.Sort(labels)
		out[m[1]] = metricKind{m[2], strings.Join(labels, ",")}
	}
	if len(out) < 20 {
		t.Fatalf("docs/metrics.md lists only %d metrics", len(out))
	}
	return out
}

// scrape reads what a daemon tells: the metrics of ours, and all the text.
func scrape(t *testing.T, addr string) (map[string]metricKind, string) {
	t.Helper()
	resp, err := http.Get("http://" + addr + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s, %v: %s", resp.Status, err, b)
	}
	out := map[string]metricKind{}
	label := regexp.MustCompile(`([a-z]+)="`)
	for line := range strings.Lines(string(b)) {
		line = strings.TrimSpace(line)
		if f := strings.Fields(line); len(f) == 4 && f[1] == "TYPE" && strings.HasPrefix(f[2], "laycast_") {
			out[f[2]] = metricKind{kind: f[3]}
			continue
		}
		name, rest, ok := strings.Cut(line, "{")
		if !ok || !strings.HasPrefix(name, "laycast_") {
			continue
		}
		for _, part := range []string{"_bucket", "_sum", "_count"} {
			if short := strings.TrimSuffix(name, part); out[short].kind == "histogram" {
				name = short
			}
		}
		labels := map[string]bool{}
		for _, m := range label.FindAllStringSubmatch(rest, -1) {
			if m[1] != "le" {
				labels[m[1]] = true
			}
		}
		k := out[name]
		k.labels = strings.Join(slices.Sorted(maps.Keys(labels)), ",")
		out[name] = k
	}
	return out, string(b)
}

// The list of metrics is what a running daemon tells, both ways, and it tells
// nothing of customers, nor any secret of an address that was asked for.
func TestMetricsAreAsListed(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "metrics_listen: 127.0.0.1:0\n")
	o.write("laycast.yaml", strings.Replace(o.read(o.config), "source: {", "source: {per_minute: 600, ", 1))
	o.takeIn(bookOf(2, "2027-05-03"))
	addr, _ := o.serve("--pretend-now", "2027-05-05T16:59:58Z", "--mail-dir", o.mail)
	if o.metrics == "" || o.metrics == addr {
		t.Fatalf("metrics at %q, pages at %q", o.metrics, addr)
	}
	const secret = "SECRETSECRETSECRETSECRETSE"
	for _, path := range []string{"/healthz", "/p/" + secret, "/metrics"} {
		resp, err := http.Get("http://" + addr + path)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if path == "/metrics" && resp.StatusCode != http.StatusNotFound {
			t.Errorf("the pages' address tells metrics: %s", resp.Status)
		}
	}
	want := listedMetrics(t)
	var got map[string]metricKind
	var text string
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(200 * time.Millisecond) { // until the first forecast is there
		got, text = scrape(t, o.metrics)
		if _, ok := got["laycast_forecast_age_seconds"]; ok && got["laycast_source_requests_total"].kind != "" || time.Now().After(end) {
			break
		}
	}
	for name, k := range want {
		if got[name] != k {
			t.Errorf("%s: listed as %+v, told as %+v", name, k, got[name])
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s is told but not in docs/metrics.md", name)
		}
	}
	for _, line := range []string{
		`laycast_database_up 1`, `laycast_firms{life="virtual"} 1`, `laycast_calls_crew_untold 0`,
		`laycast_http_requests_total{code="404",method="GET",route="/p/{token}"} 1`,
		`laycast_http_requests_total{code="404",method="GET",route="none"} 1`,
		`laycast_http_requests_total{code="200",method="GET",route="/healthz"} 1`,
		`laycast_source_quota_limit{source="open-meteo",window="minute"} 600`,
	} {
		if !strings.Contains(text, line+"\n") {
			t.Errorf("it does not tell %s", line)
		}
	}
	for _, hidden := range []string{secret, "quay", "Quay", "@", "J-0"} {
		if strings.Contains(text, hidden) {
			t.Errorf("it tells %q", hidden)
		}
	}
	if t.Failed() {
		t.Log(text)
	}
}

func TestMetricsNeedAnAddressOfTheirOwn(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "metrics_listen: 127.0.0.1:8642\n")
	o.write("laycast.yaml", strings.Replace(o.read(o.config), "listen: 127.0.0.1:0", "listen: 127.0.0.1:8642", 1))
	o.fails(exitFail, []string{"metrics_listen"}, "config", "--check")
}

// namesIn gives the metrics of ours that a text names.
func namesIn(text string) []string {
	return regexp.MustCompile(`\blaycast_[a-z_]+`).FindAllString(text, -1)
}

// isListed reports whether a name is that of a metric in the list, or of a part of
// a histogram in it.
func isListed(list map[string]metricKind, name string) bool {
	if _, ok := list[name]; ok {
		return true
	}
	for _, part := range []string{"_bucket", "_sum", "_count"} {
		if short, cut := strings.CutSuffix(name, part); cut && list[short].kind == "histogram" {
			return true
		}
	}
	return false
}

// Alerts and dashboard name listed metrics alone, and every alert says in words what
// is wrong and what to do.
func TestAlertsAndDashboardNameListedMetrics(t *testing.T) {
	t.Parallel()
	list := listedMetrics(t)
	read := func(name string) []byte {
		b, err := os.ReadFile("../../deploy/" + name)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	var rules struct {
		Groups []struct {
			Rules []struct {
				Alert, Expr         string
				Labels, Annotations map[string]string
			}
		}
	}
	if err := yaml.Load(read("alerts.yaml"), &rules); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, g := range rules.Groups {
		for _, r := range g.Rules {
			n++
			if r.Alert == "" || len(r.Annotations["summary"]) < 20 || len(r.Annotations["todo"]) < 20 || r.Labels["severity"] == "" {
				t.Errorf("alert %q has no summary, nothing to do, or no severity", r.Alert)
			}
			if len(namesIn(r.Expr)) == 0 && !strings.Contains(r.Expr, `up{job="laycast"}`) {
				t.Errorf("alert %q is about nothing: %s", r.Alert, r.Expr)
			}
			for _, name := range namesIn(r.Expr) {
				if !isListed(list, name) {
					t.Errorf("alert %q names %s, which docs/metrics.md does not", r.Alert, name)
				}
			}
		}
	}
	if n < 10 {
		t.Errorf("only %d alerts", n)
	}
	var board struct {
		Title  string
		Panels []struct {
			Title, Type string
			Targets     []struct{ Expr string }
		}
	}
	if err := json.Unmarshal(read("dashboard.json"), &board); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, p := range board.Panels {
		if p.Type != "row" && (p.Title == "" || len(p.Targets) == 0) {
			t.Errorf("panel %q shows nothing", p.Title)
		}
		for _, x := range p.Targets {
			if len(namesIn(x.Expr)) == 0 {
				t.Errorf("panel %q: %q names no metric", p.Title, x.Expr)
			}
			for _, name := range namesIn(x.Expr) {
				seen[name] = true
				if !isListed(list, name) {
					t.Errorf("panel %q names %s, which docs/metrics.md does not", p.Title, name)
				}
			}
		}
	}
	if len(seen) < 12 {
		t.Errorf("the dashboard shows only %d metrics", len(seen))
	}
}

// The rules are right and ring when they should, where Prometheus' own tool is at
// hand to say so.
func TestAlertRules(t *testing.T) {
	t.Parallel()
	tool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed, so the alert rules are not tried: install the package named prometheus")
	}
	for _, args := range [][]string{{"check", "rules", "alerts.yaml"}, {"test", "rules", "alerts_test.yaml"}} {
		cmd := exec.Command(tool, args...)
		cmd.Dir = filepath.Join("..", "..", "deploy")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
		}
	}
}
