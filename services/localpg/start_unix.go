//go:build unix

package localpg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const (
	// socketLimit is the longest path of a Unix socket that every system takes (104 bytes on macOS, 108 on Linux, with
	// the closing zero byte).
	socketLimit  = 102
	socketPrefix = "longlead-pg-"

	startLimit  = 2 * time.Minute  // for a server that has to recover first
	orderlyStop = 20 * time.Second // after SIGINT
	abruptStop  = 10 * time.Second // after SIGQUIT
	maxLogBytes = 8 << 20
)

// Start starts a server on the data folder and returns when it takes connections. ErrInUse says that another process
// runs one from it already; ErrNoPostgres that there are no programs to run. Cancelling ctx gives the start up; later it
// has no effect on the server.
func Start(ctx context.Context, opts Options) (*Server, error) {
	f, err := openFolder(opts.DataDir)
	if err != nil {
		return nil, err
	}
	lock, err := f.lock()
	if err != nil {
		return nil, err
	}
	s, err := startLocked(ctx, f, opts, lock)
	if err != nil {
		_ = lock.Close()
		return nil, err
	}
	if opts.Detached {
		_ = lock.Close()
	}
	return s, nil
}

func startLocked(ctx context.Context, f folder, opts Options, lock *os.File) (*Server, error) {
	if opts.Detached {
		if s, ok := f.running(); ok {
			return s, nil
		}
	}
	if err := f.clearOld(ctx, opts.say); err != nil {
		return nil, err
	}
	major, err := f.clusterMajor()
	if err != nil {
		return nil, err
	}
	find := opts.finder
	if find == nil {
		find = machineFinder(f.acct.canEnter)
	}
	p, err := find.find(ctx, opts.Source, major, f.npm(), opts.say)
	if err != nil {
		return nil, err
	}
	if major == 0 {
		opts.say("Making a new database in %s with %s", f.root, p)
		if err := f.initCluster(ctx, p, opts.Test); err != nil {
			return nil, err
		}
	}
	opts.say("Starting %s", p)
	return f.launch(ctx, p, opts, lock)
}

// clusterMajor is the major version that made the cluster, 0 when there is none yet.
func (f folder) clusterMajor() (int, error) {
	text, err := os.ReadFile(filepath.Join(f.data(), "PG_VERSION"))
	if errors.Is(err, os.ErrNotExist) {
		if entries, _ := os.ReadDir(f.data()); len(entries) > 0 {
			return 0, fmt.Errorf("%s holds files but no database: move them away, or choose another data folder", f.data())
		}
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read the version of the database: %w", err)
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, fmt.Errorf("read the version of the database in %s: %q is no version", f.data(), text)
	}
	return major, nil
}

// initCluster makes the cluster in a folder beside and renames it, so that a half-made one is never started.
func (f folder) initCluster(ctx context.Context, p programs, test bool) error {
	fresh := f.data() + ".new"
	args := []string{"-D", fresh, "-U", superuser, "--auth-local=trust", "--auth-host=reject", "-E", "UTF8"}
	if test {
		args = append(args, "--no-sync")
	} else {
		args = append(args, "--data-checksums")
	}
	var err error
	// C.UTF-8 sorts by code point everywhere and still knows upper and lower case; not every system has it.
	for _, locale := range []string{"C.UTF-8", "C"} {
		if err := os.RemoveAll(fresh); err != nil {
			return fmt.Errorf("clear an unfinished database: %w", err)
		}
		if err = f.run(ctx, filepath.Join(p.dir, "initdb"), append(args, "--locale="+locale)...); err == nil {
			break
		}
	}
	if err != nil {
		return fmt.Errorf("make the database: %w", err)
	}
	if err := os.Rename(fresh, f.data()); err != nil {
		return fmt.Errorf("put the new database in place: %w", err)
	}
	return nil
}

// run runs a program as the server's user and returns its last words with the error.
func (f folder) run(ctx context.Context, program string, args ...string) error {
	cmd := exec.CommandContext(ctx, program, args...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	f.prepare(cmd, false)
	cmd.WaitDelay = 5 * time.Second
	p, err := begin(cmd)
	if err != nil {
		return err
	}
	<-p.done
	if p.err != nil {
		return fmt.Errorf("%s: %w: %s", filepath.Base(program), p.err, lastLines(out.String(), 5))
	}
	return nil
}

// prepare sets user, folder and environment of a program. The environment is made new: PGDATA, PGPORT and the like of
// this process are not meant for this server.
func (f folder) prepare(cmd *exec.Cmd, detached bool) {
	cmd.Dir = f.root
	cmd.Env = []string{"PATH=/usr/local/bin:/usr/bin:/bin", "HOME=" + f.root, "LC_ALL=C", "TZ=UTC"}
	cmd.SysProcAttr = attributes(detached)
	if f.acct != nil {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: f.acct.uid, Gid: f.acct.gid}
	}
}

// process is a child whose end is waited for.
type process struct {
	cmd  *exec.Cmd
	done chan struct{} // closed when it has ended
	err  error         // how it ended; read after done
}

// begin starts cmd from a thread that lives as long as the child: Linux sends the signal of a parent's death when the
// thread that made the child ends, not the process.
func begin(cmd *exec.Cmd) (*process, error) {
	p := &process{cmd: cmd, done: make(chan struct{})}
	started := make(chan error, 1)
	go func() {
		runtime.LockOSThread() // never unlocked: the thread ends with this goroutine
		err := cmd.Start()
		started <- err
		if err != nil {
			return
		}
		p.err = cmd.Wait()
		close(p.done)
	}()
	if err := <-started; err != nil {
		return nil, fmt.Errorf("start %s: %w", filepath.Base(cmd.Path), err)
	}
	return p, nil
}

// launch starts the server and waits until it takes connections.
func (f folder) launch(ctx context.Context, p programs, opts Options, lock *os.File) (*Server, error) {
	socketDir, err := f.makeSocketDir()
	if err != nil {
		return nil, err
	}
	logFile, err := f.openLog()
	if err != nil {
		return nil, err
	}
	defer func() { _ = logFile.Close() }()
	cmd := exec.Command(filepath.Join(p.dir, "postgres"), serverArgs(f.data(), socketDir, opts)...)
	cmd.Stdout, cmd.Stderr = logFile, logFile
	f.prepare(cmd, opts.Detached)
	// Written before the server is ready so that a start which is killed leaves a trace of its socket folder.
	if err := f.writeState(state{SocketDir: socketDir}); err != nil {
		return nil, err
	}
	proc, err := begin(cmd)
	if err == nil {
		if err = f.awaitReady(ctx, proc); err == nil {
			err = f.writeState(state{PID: cmd.Process.Pid, SocketDir: socketDir, Found: p.String()})
		}
		if err != nil {
			_ = proc.stop()
		}
	}
	if err != nil {
		f.dropState()
		return nil, err
	}
	return &Server{
		socketDir: socketDir, found: p.String(), logFile: f.log(), pid: cmd.Process.Pid, done: proc.done,
		stop: func() error {
			err := proc.stop()
			f.dropState()
			_ = lock.Close()
			return err
		},
	}, nil
}

func serverArgs(data, socketDir string, opts Options) []string {
	if opts.MaxConnections == 0 {
		opts.MaxConnections = 100
	}
	args := []string{"-D", data}
	set := func(name, value string) { args = append(args, "-c", name+"="+value) }
	set("listen_addresses", "")
	set("port", socketPort)
	set("unix_socket_directories", socketDir)
	set("unix_socket_permissions", "0700")
	set("max_connections", strconv.Itoa(opts.MaxConnections))
	set("timezone", "UTC")
	set("log_timezone", "UTC")
	if opts.Test {
		set("fsync", "off")
		set("synchronous_commit", "off")
		set("full_page_writes", "off")
		set("log_checkpoints", "off")
	}
	return args
}

// makeSocketDir returns a private folder for the socket: inside the database folder where the path is short enough for
// a socket, else a new temporary one.
func (f folder) makeSocketDir() (string, error) {
	dir := filepath.Join(f.root, "socket")
	if len(dir)+len("/.s.PGSQL.")+len(socketPort) <= socketLimit {
		// What a killed server left in it would pass for the socket of a living one.
		if err := os.RemoveAll(dir); err != nil {
			return "", fmt.Errorf("clear the socket folder: %w", err)
		}
		if err := os.Mkdir(dir, 0o700); err != nil {
			return "", fmt.Errorf("make the socket folder: %w", err)
		}
		return dir, f.acct.give(dir)
	}
	tmp := os.TempDir()
	if len(tmp) > 60 || !f.acct.canEnter(tmp) {
		tmp = "/tmp"
	}
	dir, err := os.MkdirTemp(tmp, socketPrefix)
	if err != nil {
		return "", fmt.Errorf("make the socket folder: %w", err)
	}
	return dir, f.acct.give(dir)
}

// openLog opens the server's log for appending, and starts it anew when it has grown large.
func (f folder) openLog() (*os.File, error) {
	if st, err := os.Stat(f.log()); err == nil && st.Size() > maxLogBytes {
		_ = os.Rename(f.log(), f.log()+".old")
	}
	file, err := os.OpenFile(f.log(), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open the database's log: %w", err)
	}
	return file, nil
}

func (f folder) awaitReady(ctx context.Context, p *process) error {
	limit := time.After(startLimit)
	for {
		if pid, ready := f.postmaster(); ready && pid == p.cmd.Process.Pid {
			return nil
		}
		select {
		case <-p.done:
			return fmt.Errorf("the database ended while it started (%w); its log %s says: %s", p.ended(), f.log(), f.logTail())
		case <-ctx.Done():
			return fmt.Errorf("wait for the database to start: %w", ctx.Err())
		case <-limit:
			return fmt.Errorf("the database did not start within %v; its log %s says: %s", startLimit, f.log(), f.logTail())
		case <-time.After(20 * time.Millisecond):
		}
	}
}

func (p *process) ended() error {
	if p.err != nil {
		return p.err
	}
	return errors.New("exit status 0")
}

func (f folder) logTail() string {
	text, err := os.ReadFile(f.log())
	if err != nil {
		return err.Error()
	}
	return lastLines(string(text), 5)
}

// stop ends the server: SIGINT rolls back what is open and writes a checkpoint; SIGQUIT after 20 s leaves recovery to
// the next start; SIGKILL is the last resort.
func (p *process) stop() error {
	for _, step := range []struct {
		signal syscall.Signal
		wait   time.Duration
	}{{syscall.SIGINT, orderlyStop}, {syscall.SIGQUIT, abruptStop}, {syscall.SIGKILL, abruptStop}} {
		_ = p.cmd.Process.Signal(step.signal) // fails only when it has ended
		select {
		case <-p.done:
			if p.err != nil {
				return fmt.Errorf("stop the database: %w", p.err)
			}
			return nil
		case <-time.After(step.wait):
		}
	}
	return fmt.Errorf("stop the database: process %d does not end", p.cmd.Process.Pid)
}
