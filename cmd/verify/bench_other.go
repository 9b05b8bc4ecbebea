//go:build !unix

package main

import (
	"os"
	"os/exec"
)

// ownGroup does nothing here: the context ends the command alone.
func ownGroup(*exec.Cmd) {}

// peakMemory is not known on this system; 0 is shown as a dash.
func peakMemory(*os.ProcessState) int64 { return 0 }
