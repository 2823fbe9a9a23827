package dbtest

import (
	"database/sql"
	"net/url"
	"strings"
	"testing"

	"laycast/db"
)

// testNewerSchema: a database that a newer laycast wrote is left alone.
func testNewerSchema(t *testing.T, dsn string) {
	d, err := db.Open(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	driver, name := "pgx", dsn
	if path, ok := strings.CutPrefix(dsn, "sqlite:"); ok {
		driver, name = "sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()
	}
	raw, err := sql.Open(driver, name)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = raw.Close() }()
	if _, err := raw.ExecContext(t.Context(), `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, true)`); err != nil {
		t.Fatal(err)
	}
	_, err = db.Open(t.Context(), dsn)
	if err == nil || !strings.Contains(err.Error(), "9999") || !strings.Contains(err.Error(), "newer laycast") {
		t.Fatalf("a newer schema: %v", err)
	}
}
