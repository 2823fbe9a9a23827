package db

import (
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// target is what a DSN says.
type target struct {
	name string // for messages, without the password
	path string // of the SQLite file
	pg   *pgx.ConnConfig
}

var errDSN = errors.New(`a database is written as "sqlite:laycast.db" or "postgres://user@host/name"`)

func parseDSN(dsn string) (target, error) {
	if path, ok := strings.CutPrefix(dsn, "sqlite:"); ok {
		// "sqlite://name" would be the file /name to SQLite and a host to a reader
		if strings.HasPrefix(path, "//") && !strings.HasPrefix(path, "///") {
			return target{}, fmt.Errorf("database %q: write the file right after sqlite: (%w)", dsn, errDSN)
		}
		if path == "" || strings.HasPrefix(path, ":memory:") || strings.ContainsRune(path, 0) {
			return target{}, fmt.Errorf("database %q names no file: %w", dsn, errDSN)
		}
		return target{name: dsn, path: path}, nil
	}
	if !strings.HasPrefix(dsn, "postgres://") && !strings.HasPrefix(dsn, "postgresql://") {
		return target{}, fmt.Errorf("database %s: %w", firstWord(dsn), errDSN)
	}
	name := redact(dsn)
	cfg, err := pgx.ParseConfig(dsn)
	if err != nil {
		// the driver's own words may quote the DSN
		return target{}, fmt.Errorf("database %s cannot be understood: %w", name, errDSN)
	}
	if cfg.RuntimeParams["application_name"] == "" {
		cfg.RuntimeParams["application_name"] = "laycast"
	}
	return target{name: name, pg: cfg}, nil
}

// firstWord gives the scheme of a DSN, all that can be shown of one whose form
// is not known: the rest may hold a password.
func firstWord(dsn string) string {
	scheme, _, ok := strings.Cut(dsn, ":")
	if !ok || strings.ContainsAny(scheme, "@ =/") {
		return "setting"
	}
	return fmt.Sprintf("%q", scheme+":…")
}

// redact gives a PostgreSQL DSN without its password.
func redact(dsn string) string {
	u, err := url.Parse(dsn)
	if err != nil {
		return firstWord(dsn)
	}
	if u.User != nil {
		u.User = url.User(u.User.Username())
	}
	q := u.Query()
	for key := range q {
		if strings.Contains(strings.ToLower(key), "pass") {
			q.Del(key)
		}
	}
	u.RawQuery = q.Encode()
	return u.String()
}

// sqliteURI gives the driver's name for a file: a writer begins every
// transaction as a write, a reader cannot write; wait is how long either waits
// for another's lock.
func sqliteURI(path string, write bool, wait time.Duration) string {
	q := url.Values{}
	q.Set("_busy_timeout", strconv.FormatInt(wait.Milliseconds(), 10))
	q.Set("_foreign_keys", "1")
	if write {
		q.Set("_txlock", "immediate")
		q.Set("_journal_mode", "WAL")
		q.Set("_synchronous", "FULL")
	} else {
		q.Set("_query_only", "1")
	}
	return "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + q.Encode()
}
