package db

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"slices"

	"github.com/pressly/goose/v3"
)

//go:embed migrations/*.sql
var migrations embed.FS

// migrateLock is the advisory lock under which one process migrates a
// PostgreSQL database while others wait: "laycast" in ASCII.
const migrateLock = 0x6c617963617374

// migrate brings the schema up to date, whatever other processes do meanwhile.
func (d *DB) migrate(ctx context.Context) error {
	if d.pg != nil {
		return d.migratePostgres(ctx)
	}
	// The writer's own pool waits too shortly for this, see begin.
	pool, err := sql.Open("sqlite", sqliteURI(d.path, true, patience))
	if err != nil {
		return err
	}
	pool.SetMaxOpenConns(1)
	defer func() { _ = pool.Close() }()
	// Two processes may create the same file together: the one that comes
	// second fails and finds the work done when it looks again.
	for n := 1; ; n++ {
		err := up(ctx, pool, goose.DialectSQLite3)
		if err == nil || n == tries || ctx.Err() != nil {
			return err
		}
	}
}

func (d *DB) migratePostgres(ctx context.Context) (err error) {
	conn, err := d.writer.Conn(ctx)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close() }()
	if _, err := conn.ExecContext(ctx, `SELECT pg_advisory_lock($1)`, int64(migrateLock)); err != nil {
		return fmt.Errorf("wait for other migrations: %w", err)
	}
	defer func() {
		_, e := conn.ExecContext(context.WithoutCancel(ctx), `SELECT pg_advisory_unlock($1)`, int64(migrateLock))
		if err == nil && e != nil {
			err = fmt.Errorf("end the migration lock: %w", e)
		}
	}()
	return up(ctx, d.writer.DB, goose.DialectPostgres)
}

func provider(pool *sql.DB, dialect goose.Dialect) (*goose.Provider, error) {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	p, err := goose.NewProvider(dialect, pool, files, goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return nil, fmt.Errorf("prepare migrations: %w", err)
	}
	return p, nil
}

// upTo brings a new database to an older version of the schema, which must have
// been one.
func upTo(ctx context.Context, pool *sql.DB, dialect goose.Dialect, version int64) error {
	p, err := provider(pool, dialect)
	if err != nil {
		return err
	}
	if _, err := p.UpTo(ctx, version); err != nil {
		return fmt.Errorf("make a schema of version %d: %w", version, err)
	}
	have, err := p.GetDBVersion(ctx)
	if err == nil && have != version {
		err = fmt.Errorf("there never was a schema of version %d", version)
	}
	return err
}

func up(ctx context.Context, pool *sql.DB, dialect goose.Dialect) error {
	p, err := provider(pool, dialect)
	if err != nil {
		return err
	}
	have, know, err := p.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("read schema version: %w", err)
	}
	switch {
	case have > know:
		return fmt.Errorf("its schema is version %d and this laycast knows up to %d: use the newer laycast that wrote it, or another database", have, know)
	case have == know:
		return nil
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bring schema from version %d to %d: %w", have, know, err)
	}
	return nil
}

// CheckSchema fails when a newer laycast has changed the schema since this one
// opened the database: an older one must not go on writing then.
func (d *DB) CheckSchema(ctx context.Context) error {
	have, err := d.schema(ctx)
	if err != nil {
		return fmt.Errorf("read the schema of %s: %w", d.name, err)
	}
	know, err := newestKnown()
	if err == nil && have > know {
		err = fmt.Errorf("%s: %w: its schema is version %d now and this laycast knows up to %d; start the newer one in its place", d.name, ErrOutdated, have, know)
	}
	return err
}

// ErrOutdated says that a newer laycast has the database now.
var ErrOutdated = errors.New("a newer laycast has taken this database over")

// newestKnown gives the version of the newest migration in this program.
func newestKnown() (int64, error) {
	files, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil || len(files) == 0 {
		return 0, fmt.Errorf("read the migrations: %w", err)
	}
	slices.Sort(files)
	return goose.NumericComponent(files[len(files)-1])
}
