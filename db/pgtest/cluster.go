package pgtest

import (
	"bytes"
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	osexec "os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// binaries are PostgreSQL's programs.
type binaries struct{ initdb, postgres string }

// findBinaries looks where PATH points and where the usual packages put them
// (Debian keeps them out of PATH), newest first.
func findBinaries() (binaries, error) {
	var dirs []string
	if p, err := osexec.LookPath("initdb"); err == nil {
		if p, err = filepath.EvalSymlinks(p); err == nil {
			dirs = append(dirs, filepath.Dir(p))
		}
	}
	for _, pattern := range []string{"/usr/lib/postgresql/*/bin", "/usr/pgsql-*/bin", "/usr/local/pgsql/bin", "/opt/homebrew/opt/postgresql*/bin"} {
		found, err := filepath.Glob(pattern)
		if err != nil {
			return binaries{}, err
		}
		slices.SortFunc(found, func(a, b string) int { return version(b) - version(a) })
		dirs = append(dirs, found...)
	}
	for _, d := range dirs {
		b := binaries{filepath.Join(d, "initdb"), filepath.Join(d, "postgres")}
		if runnable(b.initdb) && runnable(b.postgres) {
			return b, nil
		}
	}
	return binaries{}, errors.New("initdb and postgres were found neither on PATH nor in /usr/lib/postgresql")
}

// version gives the number in a path such as /usr/lib/postgresql/15/bin.
func version(dir string) int {
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, dir)
	n, err := strconv.Atoi(digits)
	if err != nil {
		return 0
	}
	return n
}

func runnable(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular() && info.Mode()&0o111 != 0
}

// cluster is a running server.
type cluster struct {
	dir    string
	dsn    string // of the database postgres
	keeper *osexec.Cmd
	alive  io.WriteCloser // the keeper ends the server when this closes
}

// keeperScript makes the cluster, and runs the server until its standard input
// closes, which it does when the test process ends, be it killed; then it stops
// the server and removes the folder. $1 and $2 are initdb and postgres, $3 the
// folder, $4 the port. Words on its standard input stop the server (fast or
// immediate) and start it again.
const keeperScript = `
if "$1" -D "$3/data" -U postgres --auth=scram-sha-256 --pwfile="$3/password" --encoding=UTF8 --locale=C --no-sync >"$3/log" 2>&1 &&
	cat "$3/settings" >>"$3/data/postgresql.conf"
then
	"$2" -D "$3/data" -p "$4" </dev/null >>"$3/log" 2>&1 &
	server=$!
else
	: >"$3/failed"
fi
while read -r word; do
	case $word in
	start) "$2" -D "$3/data" -p "$4" </dev/null >>"$3/log" 2>&1 & server=$! ;;
	fast) kill -INT "$server"; wait "$server"; server= ;;
	immediate) kill -QUIT "$server"; wait "$server"; server= ;;
	esac
done
if [ -n "$server" ]; then
	kill -INT "$server" 2>/dev/null
	wait "$server"
fi
rm -rf "$3"
`

// settings make the server loopback only, without a socket file, and quick:
// what it holds need not outlive the machine.
const settings = `
listen_addresses = '127.0.0.1'
unix_socket_directories = ''
fsync = off
full_page_writes = off
synchronous_commit = off
shared_buffers = 32MB
max_connections = 100
`

// errPortTaken: somebody took the free port before the server did.
var errPortTaken = errors.New("the port was taken")

func startCluster(bin binaries) (*cluster, error) { return startWith(bin, settings) }

func startWith(bin binaries, settings string) (*cluster, error) {
	var err error
	for range 3 {
		var c *cluster
		if c, err = startOnce(bin, settings); !errors.Is(err, errPortTaken) {
			return c, err
		}
	}
	return nil, err
}

func startOnce(bin binaries, settings string) (*cluster, error) {
	port, err := freePort()
	if err != nil {
		return nil, err
	}
	return startAt(bin, settings, port)
}

func startAt(bin binaries, settings string, port int) (*cluster, error) {
	dir, err := os.MkdirTemp("", "laycast-postgres-")
	if err != nil {
		return nil, err
	}
	c, err := runServer(bin, settings, dir, port)
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	return c, nil
}

// serverUser says as whom to run the server, and gives dir to that user:
// PostgreSQL refuses to run as root. It is nil where we are not root.
func serverUser(dir string) (*syscall.SysProcAttr, error) {
	attr := &syscall.SysProcAttr{Setpgid: true} // an interrupt at the terminal is for us, not for the server
	if os.Geteuid() != 0 {
		return attr, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err := strconv.Atoi(u.Uid)
		if err != nil {
			continue
		}
		gid, err := strconv.Atoi(u.Gid)
		if err != nil {
			continue
		}
		attr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		return attr, chownAll(dir, uid, gid)
	}
	return nil, errors.New("running as root, and there is no user postgres or nobody to run the server as; run the tests as another user")
}

// chownAll gives a folder and the files in it to a user.
func chownAll(dir string, uid, gid int) error {
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		return err
	}
	for _, f := range append(files, dir) {
		if err := os.Chown(f, uid, gid); err != nil {
			return err
		}
	}
	return nil
}

// serverEnv keeps the caller's PG… settings and home away from the server.
func serverEnv(dir string) []string {
	return []string{"PATH=" + os.Getenv("PATH"), "HOME=" + dir, "LC_ALL=C", "TZ=UTC"}
}

func runServer(bin binaries, settings, dir string, port int) (*cluster, error) {
	password := rand.Text()
	err := errors.Join(os.WriteFile(filepath.Join(dir, "password"), []byte(password), 0o600),
		os.WriteFile(filepath.Join(dir, "settings"), []byte(settings), 0o600))
	if err != nil {
		return nil, err
	}
	c := &cluster{
		dir: dir, dsn: fmt.Sprintf("postgres://postgres:%s@127.0.0.1:%d/postgres?sslmode=disable", password, port),
		keeper: osexec.Command("/bin/sh", "-c", keeperScript, "keeper", bin.initdb, bin.postgres, dir, strconv.Itoa(port)),
	}
	c.keeper.Dir, c.keeper.Env = dir, serverEnv(dir)
	if c.keeper.SysProcAttr, err = serverUser(dir); err != nil {
		return nil, err
	}
	if c.alive, err = c.keeper.StdinPipe(); err != nil {
		return nil, err
	}
	if err := c.keeper.Start(); err != nil {
		return nil, fmt.Errorf("start the server in %s (which must be open to its user; TMPDIR names another place): %w", dir, err)
	}
	if err := c.awaitReady(); err != nil {
		log := c.log()
		c.stop()
		return nil, fmt.Errorf("%w; the server's log says: %s", err, bytes.TrimSpace(log))
	}
	return c, nil
}

func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// awaitReady asks until the server answers, for at least a minute.
func (c *cluster) awaitReady() error {
	db, err := sql.Open("pgx", c.dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for range 1200 {
		if err = ping(db); err == nil {
			return nil
		}
		if bytes.Contains(c.log(), []byte("Address already in use")) {
			return errPortTaken
		}
		if _, err := os.Stat(filepath.Join(c.dir, "failed")); err == nil {
			return errors.New("initdb failed")
		}
		<-tick.C
	}
	return fmt.Errorf("the server did not answer within a minute: %w", err)
}

// ping gives up after a second: whoever took the port may never answer.
func ping(db *sql.DB) error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	return db.PingContext(ctx)
}

// log gives what the server has logged so far, empty before it has.
func (c *cluster) log() []byte {
	b, err := os.ReadFile(filepath.Join(c.dir, "log"))
	if err != nil {
		return nil
	}
	return b
}

// stop ends the server and waits until its folder is gone. Where the
// temporary folder is not open to the server's user, the keeper only empties it
// and we remove what is left.
func (c *cluster) stop() {
	c.alive.Close()
	c.keeper.Wait() //nolint:errcheck // the keeper's status is that of rm, see above
	os.RemoveAll(c.dir)
}
