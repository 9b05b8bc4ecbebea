//go:build unix

package localpg

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

const (
	zombieWait = 10 * time.Second
	oldPause   = 50 * time.Millisecond
)

// life is what is known about a process.
type life int

const (
	dead    life = iota
	foreign      // alive, but not a server of this folder: its number was used again
	zombie       // ended, and its parent has not looked yet
	ours         // a server that runs from this folder
)

// clearOld waits until no server from an earlier parent is left on the folder, and stops one that would stay. The caller
// holds the lock, so nobody looks after such a server: its parent was killed.
func (f folder) clearOld(ctx context.Context, say func(string, ...any)) error {
	defer f.dropState()
	start, asked := time.Now(), 0
	for {
		pid, _ := f.postmaster()
		if pid == 0 {
			return nil
		}
		waited := time.Since(start)
		switch inspect(pid, f.data()) {
		case dead:
			return nil // Postgres itself sees that the file is stale, and recovers
		case foreign:
			return f.forget(ctx)
		case zombie:
			// Postgres takes a zombie for a running server. Some containers never bury one.
			if waited > zombieWait {
				return f.forget(ctx)
			}
		case ours:
			switch {
			case asked == 0:
				say("Stopping the database that a killed process left running (process %d)", pid)
				_ = syscall.Kill(pid, syscall.SIGINT)
				asked = 1
			case asked == 1 && waited > orderlyStop:
				_ = syscall.Kill(pid, syscall.SIGQUIT)
				asked = 2
			case waited > orderlyStop+abruptStop+zombieWait:
				return fmt.Errorf("an earlier database server (process %d) on %s does not end: stop it, then try again", pid, f.root)
			}
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("wait for an earlier database server to end: %w", ctx.Err())
		case <-time.After(oldPause):
		}
	}
}

// forget removes the note of a server that is gone for certain, once none of its helpers works in the cluster any more.
func (f folder) forget(ctx context.Context) error {
	for start := time.Now(); busy(f.data()); {
		if time.Since(start) > zombieWait {
			return fmt.Errorf("processes of an earlier database server still use %s: stop them, then try again", f.data())
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("wait for an earlier database server to end: %w", ctx.Err())
		case <-time.After(oldPause):
		}
	}
	if err := os.Remove(filepath.Join(f.data(), "postmaster.pid")); err != nil && !os.IsNotExist(err) {
		return fmt.Errorf("remove the note of an earlier database server: %w", err)
	}
	return nil
}
