//go:build unix

package main

import (
	"os"
	"os/exec"
	"runtime"
	"syscall"
)

// ownGroup gives a command a process group that is killed as a whole when its context ends: CBC is a child of a child.
func ownGroup(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
}

// peakMemory is the most memory in bytes that an ended process or one of its children had at once.
func peakMemory(s *os.ProcessState) int64 {
	usage, ok := s.SysUsage().(*syscall.Rusage)
	if !ok {
		return 0
	}
	if runtime.GOOS == "darwin" {
		return int64(usage.Maxrss) // bytes there, kilobytes elsewhere
	}
	return int64(usage.Maxrss) * 1024
}
