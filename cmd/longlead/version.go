package main

import (
	"encoding/json"
	"fmt"
	"runtime/debug"

	"github.com/longlead/longlead/services/planner"
)

type versionCmd struct{}

// Run prints the version that Go built in, and that of the solver, which stands in every plan.
func (c *versionCmd) Run(o *Options, std streams) error {
	version := "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		version = info.Main.Version
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				version += " " + s.Value
			}
		}
	}
	if o.JSON {
		return json.NewEncoder(std.out).Encode(map[string]string{"version": version, "solver": planner.SolverVersion})
	}
	_, err := fmt.Fprintf(std.out, "longlead %s, solver %s\n", version, planner.SolverVersion)
	return err
}
