//go:build unix

package localpg

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// Join returns a handle to the server that another process runs from the data folder, and waits for one that is just
// starting. ErrNotRunning says that there is none. Stop on the handle leaves the server alone.
func Join(ctx context.Context, dataDir string) (*Server, error) {
	root, err := filepath.EvalSymlinks(filepath.Join(dataDir, "server"))
	if errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("%w: %s", ErrNotRunning, dataDir)
	}
	if err == nil {
		err = syscall.Access(root, 5)
	}
	if err != nil {
		return nil, fmt.Errorf("look into the database folder of %s: %w", dataDir, err)
	}
	f := folder{root: root}
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	for {
		if s, ok := f.running(); ok {
			return s, nil
		}
		if !f.locked() {
			return nil, fmt.Errorf("%w: %s", ErrNotRunning, dataDir)
		}
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("wait for the database that process %s is starting: %w", f.lockHolder(), ctx.Err())
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// running returns a handle to a server that answers now.
func (f folder) running() (*Server, bool) {
	s, ok := f.readState()
	if !ok || s.PID == 0 {
		return nil, false
	}
	if pid, ready := f.postmaster(); pid != s.PID || !ready {
		return nil, false
	}
	conn, err := net.DialTimeout("unix", filepath.Join(s.SocketDir, ".s.PGSQL."+socketPort), time.Second)
	if err != nil {
		return nil, false
	}
	_ = conn.Close()
	return &Server{socketDir: s.SocketDir, found: s.Found, logFile: f.log(), pid: s.PID, joined: true}, true
}
