package ribbon_test

import "testing"

// BenchmarkPNG draws one picture, as each crew mail does.
func BenchmarkPNG(b *testing.B) {
	d := scenes(b)["dewy"]
	for b.Loop() {
		if _, err := d.PNG(); err != nil {
			b.Fatal(err)
		}
	}
}
