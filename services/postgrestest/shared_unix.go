//go:build unix

package postgrestest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/longlead/longlead/services/localpg"
)

// home is the folder of the shared server. It holds, besides the server: lock (one test binary at a time looks after
// the server), users (a file for each test binary, named by its process ID), keeper (the process ID of the loop that
// stops the server), and closing (there while that loop is about to stop it).
type home string

func (h home) lock() string    { return filepath.Join(string(h), "lock") }
func (h home) users() string   { return filepath.Join(string(h), "users") }
func (h home) keeper() string  { return filepath.Join(string(h), "keeper") }
func (h home) closing() string { return filepath.Join(string(h), "closing") }

const (
	lockLimit    = 3 * time.Minute
	closingLimit = 75 * time.Second // longer than the loop takes to stop a server
)

// sharedServer joins the user's test server, and starts it when it is not running.
func sharedServer(ctx context.Context, source string) (*localpg.Server, error) {
	h, err := openHome(os.TempDir(), source)
	if err != nil {
		return nil, err
	}
	return h.join(ctx, source, keeperPace{pause: 2, rounds: 15})
}

var notInNames = regexp.MustCompile(`[^a-zA-Z0-9]+`)

// openHome makes the folder, one for each user and source, and refuses one that somebody else prepared.
func openHome(tmp, source string) (home, error) {
	name := "longlead-test-" + strconv.Itoa(os.Geteuid())
	if source != "" {
		name += "-" + strings.Trim(notInNames.ReplaceAllString(source, "-"), "-")
	}
	h := home(filepath.Join(tmp, name))
	if err := os.Mkdir(string(h), 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return "", fmt.Errorf("make the folder of the test server: %w", err)
	}
	st, err := os.Lstat(string(h))
	if err != nil {
		return "", fmt.Errorf("make the folder of the test server: %w", err)
	}
	if sys, ok := st.Sys().(*syscall.Stat_t); !st.IsDir() || !ok || int(sys.Uid) != os.Geteuid() {
		return "", fmt.Errorf("%s is not a folder of this user: remove it", h)
	}
	if err := os.MkdirAll(h.users(), 0o755); err != nil {
		return "", fmt.Errorf("make the folder of the test server: %w", err)
	}
	return h, nil
}

// join registers this process as a user and returns a running server.
func (h home) join(ctx context.Context, source string, pace keeperPace) (*localpg.Server, error) {
	// Registered before anything else: the keeper looks for users once more after it has said that it is closing.
	if err := os.WriteFile(filepath.Join(h.users(), strconv.Itoa(os.Getpid())), nil, 0o644); err != nil {
		return nil, fmt.Errorf("register with the test server: %w", err)
	}
	unlock, err := h.takeLock()
	if err != nil {
		return nil, err
	}
	defer unlock()
	h.awaitClosing()
	s, err := h.startServer(ctx, source)
	if err != nil {
		return nil, err
	}
	return s, h.ensureKeeper(s.PID(), pace)
}

func (h home) takeLock() (unlock func(), err error) {
	file, err := os.OpenFile(h.lock(), os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, fmt.Errorf("open the lock of the test server: %w", err)
	}
	for deadline := time.Now().Add(lockLimit); ; time.Sleep(20 * time.Millisecond) {
		err := syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if err == nil {
			return func() { _ = file.Close() }, nil
		}
		if !errors.Is(err, syscall.EWOULDBLOCK) || time.Now().After(deadline) {
			_ = file.Close()
			return nil, fmt.Errorf("wait for another test binary to start the test server: %w", err)
		}
	}
}

// awaitClosing waits until a keeper that has begun to stop the server is done, or has seen us and thought better of it.
func (h home) awaitClosing() {
	for deadline := time.Now().Add(closingLimit); ; time.Sleep(20 * time.Millisecond) {
		if _, err := os.Stat(h.closing()); err != nil {
			return
		}
		if time.Now().After(deadline) {
			_ = os.Remove(h.closing()) // the keeper was killed
			return
		}
	}
}

// startServer starts or joins. The server is not safe against a crash of the machine, so a cluster that was not shut
// down, or that does not start, is made anew: it holds nothing but test data.
func (h home) startServer(ctx context.Context, source string) (*localpg.Server, error) {
	data := filepath.Join(string(h), "server", "data")
	if _, err := localpg.Join(ctx, string(h)); errors.Is(err, localpg.ErrNotRunning) {
		if _, err := os.Stat(filepath.Join(data, "postmaster.pid")); err == nil {
			h.stopLeftover(ctx, source)
			_ = os.RemoveAll(data)
		}
	}
	opts := localpg.Options{DataDir: string(h), Test: true, Source: source, MaxConnections: 400, Detached: true}
	s, err := localpg.Start(ctx, opts)
	if err != nil && ctx.Err() == nil {
		if _, missing := os.Stat(data); missing != nil {
			return nil, err
		}
		if removeErr := os.RemoveAll(data); removeErr != nil {
			return nil, errors.Join(err, removeErr)
		}
		s, err = localpg.Start(ctx, opts)
	}
	return s, err
}

// stopLeftover ends a server that still runs but does not answer, by starting over it and stopping that.
func (h home) stopLeftover(ctx context.Context, source string) {
	if s, err := localpg.Start(ctx, localpg.Options{DataDir: string(h), Test: true, Source: source}); err == nil {
		_ = s.Stop()
	}
}

// keeperPace says how often the keeper looks (in seconds) and after how many looks without a user it stops the server.
type keeperPace struct{ pause, rounds int }

// keeperScript is a loop for the plain shell that every system has: a test binary cannot stop the server itself, since
// it does not know when it ends. $1 server, $2 users, $3 closing note, $4 pause, $5 rounds.
const keeperScript = `
used() {
	found=1
	for f in "$1"/*; do
		[ -e "$f" ] || continue
		if kill -0 "${f##*/}" 2>/dev/null; then found=0; else rm -f "$f"; fi
	done
	return "$found"
}
idle=0
while kill -0 "$1" 2>/dev/null; do
	sleep "$4"
	if used "$2"; then idle=0; continue; fi
	idle=$((idle + 1))
	[ "$idle" -ge "$5" ] || continue
	(: >"$3") 2>/dev/null
	if used "$2"; then rm -f "$3"; idle=0; continue; fi
	kill -INT "$1"
	n=0
	while [ "$n" -lt 30 ] && kill -0 "$1" 2>/dev/null; do sleep 1; n=$((n + 1)); done
	if kill -0 "$1" 2>/dev/null; then kill -QUIT "$1"; fi
	break
done
rm -f "$3"
`

// ensureKeeper starts the keeper of a server unless there is one.
func (h home) ensureKeeper(serverPID int, pace keeperPace) error {
	want := strconv.Itoa(serverPID)
	if text, err := os.ReadFile(h.keeper()); err == nil {
		keeper, server, _ := strings.Cut(strings.TrimSpace(string(text)), " ")
		if pid, err := strconv.Atoi(keeper); err == nil && server == want && alive(pid) {
			return nil
		}
	}
	cmd := exec.Command("/bin/sh", "-c", keeperScript, "longlead-test-keeper", want, h.users(), h.closing(),
		strconv.Itoa(pace.pause), strconv.Itoa(pace.rounds))
	cmd.Dir = "/"
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true} // not stopped by Ctrl-C
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("start the loop that stops the test server: %w", err)
	}
	go func() { _ = cmd.Wait() }()
	if err := os.WriteFile(h.keeper(), []byte(strconv.Itoa(cmd.Process.Pid)+" "+want), 0o644); err != nil {
		return fmt.Errorf("note the loop that stops the test server: %w", err)
	}
	return nil
}

// alive reports whether a process exists.
func alive(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
