// Package pgtest gives tests a PostgreSQL of their own: a private cluster in a
// temporary folder on a loopback port, one for each test process, with a fresh
// database for each call of Start. Only tests may import it.
package pgtest

import (
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"sync"
	"testing"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"
)

// EnvDSN names the environment variable that points the tests at a running
// server (a postgres:// address of a user who may create databases) instead of
// starting one.
const EnvDSN = "LAYCAST_TEST_POSTGRES"

// shared is the cluster of this test process.
var shared = &lazyCluster{find: findBinaries}

// Start gives the address of an empty database that is dropped when the test
// ends. The first call starts the cluster. Without PostgreSQL's programs on the
// machine the test is skipped; a cluster that will not start fails it.
func Start(tb testing.TB) string {
	tb.Helper()
	return shared.database(tb)
}

// Stop ends the cluster and removes its folder. Calling it, from TestMain after
// m.Run, is good manners only: the cluster ends by itself with the process,
// however that ends.
func Stop() { shared.stop() }

// lazyCluster starts a cluster at its first use and numbers its databases.
type lazyCluster struct {
	find func() (binaries, error)

	mu      sync.Mutex
	started bool
	cluster *cluster // nil when the server is somebody else's
	admin   string   // address of the database postgres
	err     error
	missing bool // err says that PostgreSQL is not installed
	made    int
}

func (l *lazyCluster) database(tb testing.TB) string {
	tb.Helper()
	admin, n := l.admit(tb)
	name := fmt.Sprintf("laycast_test_%d_%d", os.Getpid(), n)
	if err := exec(admin, "CREATE DATABASE "+name); err != nil {
		tb.Fatalf("create database %s: %v", name, err)
	}
	tb.Cleanup(func() {
		if err := exec(admin, "DROP DATABASE IF EXISTS "+name+" WITH (FORCE)"); err != nil {
			tb.Logf("drop database %s: %v", name, err)
		}
	})
	return withDatabase(tb, admin, name)
}

// admit starts the cluster if need be, and gives the address of its database
// postgres and a number for the next database.
func (l *lazyCluster) admit(tb testing.TB) (admin string, n int) {
	tb.Helper()
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.started {
		l.started = true
		l.start()
	}
	switch {
	case l.missing:
		tb.Skipf("PostgreSQL is not installed (%v): install the package named postgresql, or set %s to the address of a server on which databases may be created", l.err, EnvDSN)
	case l.err != nil:
		tb.Fatalf("start PostgreSQL for the tests: %v", l.err)
	}
	l.made++
	return l.admin, l.made
}

func (l *lazyCluster) start() {
	if l.admin = os.Getenv(EnvDSN); l.admin != "" {
		return
	}
	bin, err := l.find()
	if err != nil {
		l.err, l.missing = err, true
		return
	}
	if l.cluster, l.err = startCluster(bin); l.err == nil {
		l.admin = l.cluster.dsn
	}
}

func (l *lazyCluster) stop() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cluster != nil {
		l.cluster.stop()
		l.cluster = nil
	}
	if l.started && l.err == nil {
		l.err = fmt.Errorf("the cluster was stopped")
	}
}

func exec(dsn, stmt string) error {
	db, err := sql.Open("pgx", dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	_, err = db.Exec(stmt)
	return err
}

func withDatabase(tb testing.TB, dsn, name string) string {
	tb.Helper()
	u, err := url.Parse(dsn)
	if err != nil {
		tb.Fatalf("%s is not an address: %v", EnvDSN, err)
	}
	u.Path = "/" + name
	return u.String()
}
