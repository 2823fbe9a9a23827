// Package served reads from the source of web which addresses it answers. It is for
// tests that want to see every one of them; it imports nothing of ours.
package served

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// Address is an address that web answers.
type Address struct {
	Pattern   string // "/job/{id}"
	Get, Post bool   // by which methods
}

// Addresses gives the addresses that the source in a folder registers, by pattern. It
// is an error where there are none.
func Addresses(dir string) ([]Address, error) {
	names, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		return nil, fmt.Errorf("look for the source of the pages: %w", err)
	}
	found := map[string]Address{}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			return nil, fmt.Errorf("read the source of the pages: %w", err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if a, ok := registered(n); ok {
				have := found[a.Pattern]
				found[a.Pattern] = Address{a.Pattern, a.Get || have.Get, a.Post || have.Post}
			}
			return true
		})
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("the source in %s registers no address", dir)
	}
	var out []Address
	for _, a := range found {
		out = append(out, a)
	}
	slices.SortFunc(out, func(a, b Address) int { return strings.Compare(a.Pattern, b.Pattern) })
	return out, nil
}

// registered gives what a call registers: by mux.Handle with the methods it names, by
// mux.HandleFunc, which takes every method, or by one of web's own short ways: see for
// pages that show, do for those that take, both.
func registered(n ast.Node) (Address, bool) {
	c, ok := n.(*ast.CallExpr)
	if !ok || len(c.Args) < 2 {
		return Address{}, false
	}
	lit, ok := c.Args[0].(*ast.BasicLit)
	if !ok || lit.Kind != token.STRING {
		return Address{}, false
	}
	pattern, err := strconv.Unquote(lit.Value)
	if err != nil || !strings.HasPrefix(pattern, "/") {
		return Address{}, false
	}
	a := Address{Pattern: pattern}
	switch called(c.Fun) {
	case "see":
		a.Get = true
	case "do":
		a.Post = true
	case "both", "HandleFunc":
		a.Get, a.Post = true, true
	case "Handle":
		ast.Inspect(c, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				a.Get, a.Post = a.Get || s.Sel.Name == "MethodGet", a.Post || s.Sel.Name == "MethodPost"
			}
			return true
		})
	}
	return a, a.Get || a.Post
}

func called(f ast.Expr) string {
	switch x := f.(type) {
	case *ast.Ident:
		return x.Name
	case *ast.SelectorExpr:
		return x.Sel.Name
	}
	return ""
}
