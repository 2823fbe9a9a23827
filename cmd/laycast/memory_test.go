package main

import (
	"runtime/debug"
	"testing"
)

func TestMemoryIsBoundUnlessAsked(t *testing.T) {
	before := debug.SetMemoryLimit(-1)
	t.Cleanup(func() { debug.SetMemoryLimit(before) })
	debug.SetMemoryLimit(500 << 20)
	boundMemory(func(name string) string { return map[string]string{"GOMEMLIMIT": "500MiB"}[name] })
	if got := debug.SetMemoryLimit(-1); got != 500<<20 {
		t.Errorf("what was asked for is overruled by %d", got)
	}
	boundMemory(func(string) string { return "" })
	if got := debug.SetMemoryLimit(-1); got != softMemory {
		t.Errorf("the limit is %d, want %d", got, softMemory)
	}
}
