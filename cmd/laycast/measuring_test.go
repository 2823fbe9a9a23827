package main

import "testing"

// The doctor says who can read the metrics.
func TestDoctorLooksAtMetrics(t *testing.T) {
	t.Parallel()
	for listen, want := range map[string]grade{
		"": "", "127.0.0.1:9642": fine, "[::1]:9642": fine, "localhost:9642": fine, "10.1.2.3:9642": fine, "[fd00::7]:9642": fine,
		":9642": doubt, "0.0.0.0:9642": doubt, "[::]:9642": doubt, "203.0.113.7:9642": doubt, "metrics.saltbox.example:9642": doubt,
	} {
		e := &examination{}
		e.metrics(listen)
		got := grade("")
		if len(e.found) == 1 {
			got = e.found[0].Grade
		}
		if got != want || want == doubt && e.found[0].Remedy == "" {
			t.Errorf("%q: %+v; want %q", listen, e.found, want)
		}
	}
}
