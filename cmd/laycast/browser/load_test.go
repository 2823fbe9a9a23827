package browser

import (
	"context"
	"flag"
	"io"
	"net/http"
	"net/http/cookiejar"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

var loadFor = flag.Duration("load", 0, "have 200 readers read the week page for so long (make load)")

// TestLoad: 200 readers read the week page at once, each as fast as it is
// answered, and every one of them gets it whole each time.
func TestLoad(t *testing.T) {
	if *loadFor <= 0 {
		t.Skip("takes both processors for a minute: run make load")
	}
	const readers = 200
	f := openFirm(t)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Timeout: 30 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: readers}}
	r, err := client.Post(f.link(t, "sign-in"), "application/x-www-form-urlencoded", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.Request.URL.Path != "/week" || r.StatusCode != http.StatusOK {
		t.Fatalf("signing in ends at %s with %s", r.Request.URL, r.Status)
	}
	ctx, end := context.WithTimeout(t.Context(), *loadFor)
	defer end()
	var mu sync.Mutex
	var took []time.Duration
	var wrong []string
	var all sync.WaitGroup
	for range readers {
		all.Go(func() {
			for ctx.Err() == nil {
				begun := time.Now()
				complaint := f.readWeek(client)
				mu.Lock()
				took = append(took, time.Since(begun))
				if complaint != "" {
					wrong = append(wrong, complaint)
				}
				mu.Unlock()
			}
		})
	}
	all.Wait()
	slices.Sort(took)
	at := func(share float64) time.Duration {
		return took[int(share*float64(len(took)-1))].Round(time.Millisecond)
	}
	t.Logf("%d readers for %v: %d answers, %d wrong; half within %v, 99 in 100 within %v, the slowest %v", readers, *loadFor, len(took), len(wrong), at(.5), at(.99), at(1))
	if len(took) < readers || len(wrong) > 0 {
		t.Errorf("%d answers, %d wrong, such as %q", len(took), len(wrong), wrong[:min(3, len(wrong))])
	}
}

// readWeek reads the week page and says what is wrong with it, "" for nothing.
func (f *firm) readWeek(client *http.Client) string {
	r, err := client.Get(f.base + "/week")
	if err != nil {
		return err.Error()
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	switch {
	case err != nil:
		return err.Error()
	case r.StatusCode != http.StatusOK || r.Request.URL.Path != "/week":
		return r.Status + " at " + r.Request.URL.Path
	case !strings.HasSuffix(strings.TrimSpace(string(body)), "</html>") || !strings.Contains(string(body), "Sign out"):
		return "not the whole week page"
	}
	return ""
}
