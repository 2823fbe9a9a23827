package db_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"laycast/db/dbtest"
	"laycast/db/pgtest"
)

func TestMain(m *testing.M) {
	if dsn := os.Getenv(childDSN); dsn != "" {
		fmt.Fprintln(os.Stderr, runChild(dsn, os.Stdout))
		os.Exit(1)
	}
	code := m.Run()
	pgtest.Stop()
	os.Exit(code)
}

// freshSQLite names a file that is hard to name.
func freshSQLite(tb testing.TB) string {
	return "sqlite:" + filepath.Join(tb.TempDir(), "lay cast?100%#.db")
}

func TestContractSQLite(t *testing.T) {
	dbtest.Run(t, func(t *testing.T) string { return freshSQLite(t) })
}

func TestContractPostgreSQL(t *testing.T) {
	dbtest.Run(t, func(t *testing.T) string { return pgtest.Start(t) })
}
