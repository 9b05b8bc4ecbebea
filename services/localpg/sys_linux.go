package localpg

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
)

// attributes sets a child's group, so that Ctrl-C in a terminal reaches only us, and makes the kernel stop the child
// when we are killed. A detached child gets a session of its own instead.
func attributes(detached bool) *syscall.SysProcAttr {
	if detached {
		return &syscall.SysProcAttr{Setsid: true}
	}
	return &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGINT}
}

// inspect says what process pid is to the cluster in data. A server's working folder is its cluster.
func inspect(pid int, data string) life {
	proc := filepath.Join("/proc", strconv.Itoa(pid))
	stat, err := os.ReadFile(filepath.Join(proc, "stat"))
	if err != nil {
		if errors.Is(err, os.ErrNotExist) {
			return dead
		}
		return foreign
	}
	// The state is the field after the name, which stands in parentheses and may hold any character.
	if i := bytes.LastIndexByte(stat, ')'); i >= 0 && len(stat) > i+2 && (stat[i+2] == 'Z' || stat[i+2] == 'X') {
		return zombie
	}
	cwd, err := os.Readlink(filepath.Join(proc, "cwd"))
	switch {
	case errors.Is(err, os.ErrNotExist):
		return zombie // it is ending: its folder goes before it does
	case err == nil && cwd == data:
		return ours
	}
	return foreign
}

// busy reports whether any process that we may look at works in the cluster.
func busy(data string) bool {
	links, _ := filepath.Glob("/proc/[0-9]*/cwd")
	for _, l := range links {
		if cwd, err := os.Readlink(l); err == nil && cwd == data {
			return true
		}
	}
	return false
}
