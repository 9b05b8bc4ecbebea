//go:build unix && !linux

package localpg

import (
	"os/exec"
	"strconv"
	"strings"
	"syscall"
)

// attributes sets a child's group, so that Ctrl-C in a terminal reaches only us. These systems have no signal for the
// death of a parent: the next Start on the folder stops a server that was left behind.
func attributes(detached bool) *syscall.SysProcAttr {
	if detached {
		return &syscall.SysProcAttr{Setsid: true}
	}
	return &syscall.SysProcAttr{Setpgid: true}
}

// inspect says what process pid is to the cluster in data, which a server names on its command line.
func inspect(pid int, data string) life {
	out, err := exec.Command("ps", "-o", "stat=,command=", "-p", strconv.Itoa(pid)).Output()
	text := strings.TrimSpace(string(out))
	switch {
	case err != nil || text == "":
		return dead
	case strings.HasPrefix(text, "Z"):
		return zombie
	case strings.Contains(text, "-D "+data+" "):
		return ours
	}
	return foreign
}

// busy reports whether a server for the cluster is among the processes.
func busy(data string) bool {
	out, err := exec.Command("ps", "-ax", "-o", "command=").Output()
	return err == nil && strings.Contains(string(out), "-D "+data+" ")
}
