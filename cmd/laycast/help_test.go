package main

import (
	"context"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

// commands gives every command and group of commands as it is typed.
func commands(t *testing.T) [][]string {
	t.Helper()
	var g grammar
	p, err := kong.New(&g)
	if err != nil {
		t.Fatal(err)
	}
	var all [][]string
	var walk func(n *kong.Node, path []string)
	walk = func(n *kong.Node, path []string) {
		for _, c := range n.Children {
			sub := append(append([]string{}, path...), c.Name)
			all = append(all, sub)
			walk(c, sub)
		}
	}
	walk(p.Model.Node, nil)
	return all
}

func TestEveryCommandHasHelpWithAnExample(t *testing.T) {
	t.Parallel()
	o := &office{t: t, config: "none.yaml"} // help asks for no configuration
	all := commands(t)
	if len(all) < 15 {
		t.Fatalf("only %v were found", all)
	}
	for _, path := range all {
		name := strings.Join(path, " ")
		for _, flag := range []string{"--help", "-h"} {
			code, out, errs := o.run(context.Background(), append(append([]string{}, path...), flag)...)
			if code != exitOK || errs != "" || !strings.Contains(out, "Usage: laycast "+name) {
				t.Errorf("laycast %s %s: exit %d\n%s%s", name, flag, code, out, errs)
			}
			if !strings.Contains(out, "Example") || !strings.Contains(out, "laycast "+name) {
				t.Errorf("laycast %s %s shows no example:\n%s", name, flag, out)
			}
		}
	}
	_, out, _ := o.run(context.Background(), "--help")
	for _, word := range []string{"0 when all is well", "1 when", "2 when", "no permission"} {
		if !strings.Contains(strings.ReplaceAll(out, "\n", " "), word) {
			t.Errorf("the help does not say %q:\n%s", word, out)
		}
	}
}

func TestCommandsThatPrintDataCanPrintJSON(t *testing.T) {
	t.Parallel()
	var g grammar
	p, err := kong.New(&g)
	if err != nil {
		t.Fatal(err)
	}
	// these print a story, a log, a line of what they did, or are JSON already
	none := map[string]bool{"demo": true, "backup": true, "restore": true, "init": true, "serve": true, "rehearse": true, "config": true, "export": true}
	for _, n := range p.Model.Leaves(true) {
		found := false
		for _, f := range n.Flags {
			found = found || f.Name == "json"
		}
		if !found && !none[n.Name] {
			t.Errorf("%s has no --json", n.FullPath())
		}
	}
}

func TestTyposAreGuessedAndEndWith2(t *testing.T) {
	t.Parallel()
	o := &office{t: t, config: "none.yaml"}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"reherse"}, `did you mean "rehearse"`},
		{[]string{"job", "cancle", "Q-01"}, `did you mean`},
		{[]string{"doctr"}, `did you mean "doctor"`},
		{[]string{"calls", "--jsn"}, `did you mean "--json"`},
		{[]string{"init", "--firm", "x", "--zone", "Europe/London", "--owner-mail", "a@b.example"}, `did you mean`},
	} {
		o.fails(exitUsage, []string{c.want}, c.args...)
	}
}
