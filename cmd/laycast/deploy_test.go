package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// The release is static, bears its version, and is the same when built again.
func TestDistIsReproducible(t *testing.T) {
	if testing.Short() || raceOn {
		t.Skip("it builds the program twice: run without -short and without the race detector (make test)")
	}
	for _, tool := range []string{"make", "tar", "gzip", "sha256sum", "git"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("%s is not installed, which make dist needs: install the package of that name (%v)", tool, err)
		}
	}
	if runtime.GOOS != "linux" {
		t.Skip("the release is made and tried on Linux alone: run it there")
	}
	var first map[string][]byte
	for range 2 {
		dir := t.TempDir()
		cmd := exec.Command("make", "-C", "../..", "-s", "dist", "DIST="+dir, "VERSION=v9.9-test")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("make dist: %v\n%s", err, out)
		}
		got := map[string][]byte{}
		for _, name := range []string{"laycast", "laycast-v9.9-test.tar.gz", "SHA256SUMS"} {
			b, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil {
				t.Fatal(err)
			}
			got[name] = b
		}
		if first == nil {
			first = got
			continue
		}
		for name, b := range first {
			if !bytes.Equal(b, got[name]) {
				t.Errorf("%s differs when it is made again", name)
			}
		}
	}
	if !bytes.Contains(first["laycast"], []byte("v9.9-test")) {
		t.Error("the program does not bear its version")
	}
}

// The proxy's configuration is right, where nginx is at hand to say so.
func TestProxyConfiguration(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("nginx"); err != nil {
		t.Skip("nginx is not installed, so its configuration is not tried: install the package named nginx")
	}
	if _, err := exec.LookPath("openssl"); err != nil {
		t.Skip("openssl is not installed, so there is no certificate to try nginx with: install the package named openssl")
	}
	dir := t.TempDir()
	cert, key := filepath.Join(dir, "c.pem"), filepath.Join(dir, "k.pem")
	if out, err := exec.Command("openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", key, "-out", cert, "-days", "1", "-subj", "/CN=x").CombinedOutput(); err != nil {
		t.Skipf("openssl makes no certificate to try nginx with; install a newer one: %v\n%s", err, out)
	}
	site, err := os.ReadFile("../../deploy/nginx.conf")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("/etc/ssl/laycast/fullchain.pem", cert, "/etc/ssl/laycast/privkey.pem", key).Replace(string(site))
	main := filepath.Join(dir, "nginx.conf")
	if err := os.WriteFile(main, []byte("pid "+dir+"/pid; error_log stderr; events{} http{ "+text+" }"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("nginx", "-t", "-c", main).CombinedOutput(); err != nil {
		t.Errorf("nginx: %v\n%s", err, out)
	}
}
