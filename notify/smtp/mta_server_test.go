package smtp_test

import (
	"bufio"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// mtaConfig lets exim take mail for heron and later at saltbox.example, and
// write that for heron to a file. There is no router and no transport to
// another host. %[1]s is the folder, %[2]d the port, %[3]d and %[4]d user and
// group, %[5]s the server's name.
const mtaConfig = `
primary_hostname = %[5]s
spool_directory = %[1]s/spool
log_file_path = %[1]s/%%slog
exim_user = %[3]d
exim_group = %[4]d
deliver_drop_privilege = true
local_interfaces = 127.0.0.1
daemon_smtp_ports = %[2]d
daemon_startup_retries = 0
disable_ipv6 = true
tls_advertise_hosts =
keep_environment =
timezone = UTC
acl_smtp_rcpt = rcpt
acl_smtp_data = data

begin acl
rcpt:
  require verify = recipient
  accept
data:
  accept

begin routers
later:
  driver = redirect
  domains = saltbox.example
  local_parts = later
  allow_defer
  data = :defer: the box is being moved
box:
  driver = accept
  domains = saltbox.example
  local_parts = heron
  transport = box

begin transports
box:
  driver = appendfile
  file = %[1]s/box/$local_part_data
  user = %[3]d
  group = %[4]d
  envelope_to_add
  return_path_add
`

// mtaKeeper runs exim ($1) on the folder $2 until its standard input closes,
// which it does when the test process ends, be it killed; then it ends exim with
// its children, the whole process group, and removes the folder.
const mtaKeeper = `
"$1" -bdf -C "$2/exim.conf" </dev/null >"$2/output" 2>&1 &
server=$!
cat >/dev/null
trap '' TERM
kill -TERM 0
wait "$server"
rm -rf "$2"
`

// mta is a running exim.
type mta struct {
	dir, name, addr string

	keeper *exec.Cmd
	alive  io.Closer
}

// errPortTaken: somebody took the free port before the server did.
var errPortTaken = errors.New("the port was taken")

// startMTA starts exim for one test, which is skipped where there is none.
func startMTA(t *testing.T) *mta {
	t.Helper()
	bin := findExim(t)
	var s *mta
	var err error
	for range 3 {
		if s, err = runMTA(bin, freePort(t)); !errors.Is(err, errPortTaken) {
			break
		}
	}
	if err != nil {
		t.Fatalf("start exim: %v", err)
	}
	t.Cleanup(s.stop)
	return s
}

// findExim gives exim's path; Debian keeps it out of the PATH of most users.
func findExim(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"exim4", "/usr/sbin/exim4", "exim", "/usr/sbin/exim"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	t.Skip("exim, a mail server, is not installed: install the package named exim4-daemon-light to run this test")
	return ""
}

func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

func runMTA(bin string, port int) (*mta, error) {
	dir, err := os.MkdirTemp("", "laycast-exim-")
	if err != nil {
		return nil, err
	}
	s := &mta{dir: dir, name: strings.ToLower(rand.Text()) + ".test.example", addr: net.JoinHostPort("127.0.0.1", strconv.Itoa(port))}
	if err := s.run(bin, port); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	if err := s.awaitGreeting(); err != nil {
		log := s.log()
		s.stop()
		return nil, fmt.Errorf("%w; its log says: %s", err, strings.TrimSpace(log))
	}
	return s, nil
}

// run writes the configuration and starts the keeper. Exim runs as one
// unprivileged user throughout: given a configuration that is not the system's
// it drops root's rights halfway, when it delivers, so it starts without them.
func (s *mta) run(bin string, port int) error {
	uid, gid, err := mtaUser()
	if err != nil {
		return err
	}
	box, conf := filepath.Join(s.dir, "box"), filepath.Join(s.dir, "exim.conf")
	err = errors.Join(os.Mkdir(box, 0o700),
		os.WriteFile(conf, fmt.Appendf(nil, mtaConfig, s.dir, port, uid, gid, s.name), 0o600))
	if err != nil {
		return err
	}
	s.keeper = exec.Command("/bin/sh", "-c", mtaKeeper, "keeper", bin, s.dir)
	s.keeper.Dir = s.dir
	s.keeper.Env = []string{"PATH=" + os.Getenv("PATH"), "HOME=" + s.dir, "LC_ALL=C", "TZ=UTC"}
	s.keeper.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if os.Geteuid() == 0 {
		s.keeper.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		if err := errors.Join(os.Chown(s.dir, uid, gid), os.Chown(box, uid, gid), os.Chown(conf, uid, gid)); err != nil {
			return err
		}
	}
	if s.alive, err = s.keeper.StdinPipe(); err != nil {
		return err
	}
	if err := s.keeper.Start(); err != nil {
		return fmt.Errorf("run it in %s (which must be open to its user; TMPDIR names another place): %w", s.dir, err)
	}
	return nil
}

// mtaUser says as whom exim runs: as ourselves, or where we are root, as the
// user its package made.
func mtaUser() (uid, gid int, err error) {
	if os.Geteuid() != 0 {
		return os.Geteuid(), os.Getegid(), nil
	}
	for _, name := range []string{"Debian-exim", "exim", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err := strconv.Atoi(u.Uid)
		if err != nil {
			return 0, 0, err
		}
		gid, err := strconv.Atoi(u.Gid)
		return uid, gid, err
	}
	return 0, 0, errors.New("running as root, and there is no user Debian-exim, exim or nobody to run it as; run the tests as another user")
}

// awaitGreeting asks until this very server greets, for at most a minute.
func (s *mta) awaitGreeting() error {
	var got string
	ok := within(time.Minute, func() bool {
		got = greeting(s.addr)
		return strings.HasPrefix(got, "220 "+s.name) || strings.Contains(s.log(), "Address already in use")
	})
	switch {
	case strings.HasPrefix(got, "220 "+s.name):
		return nil
	case ok:
		return errPortTaken
	}
	return fmt.Errorf("it did not greet within a minute, but said %q", got)
}

func greeting(addr string) string {
	c, err := net.DialTimeout("tcp", addr, time.Second)
	if err != nil {
		return err.Error()
	}
	defer c.Close()
	if err := c.SetDeadline(time.Now().Add(time.Second)); err != nil {
		return err.Error()
	}
	line, err := bufio.NewReader(c).ReadString('\n')
	if err != nil {
		return err.Error()
	}
	_, _ = io.WriteString(c, "QUIT\r\n") // good manners only
	return line
}

// within asks every 20 ms until it is so, and reports whether it was in time.
func within(d time.Duration, so func() bool) bool {
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	late := time.After(d)
	for !so() {
		select {
		case <-tick.C:
		case <-late:
			return false
		}
	}
	return true
}

// log gives all that exim has written about what it does; nothing where it has
// not begun to.
func (s *mta) log() string {
	var all []byte
	for _, f := range []string{"output", "mainlog", "paniclog"} {
		b, err := os.ReadFile(filepath.Join(s.dir, f))
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return err.Error()
		}
		all = append(all, b...)
	}
	return string(all)
}

// stop ends exim and waits until its folder is gone. Where the temporary folder
// is not open to exim's user, the keeper only empties it.
func (s *mta) stop() {
	_ = s.alive.Close()
	_ = s.keeper.Wait() // the keeper's status is that of rm, see above
	_ = os.RemoveAll(s.dir)
}
