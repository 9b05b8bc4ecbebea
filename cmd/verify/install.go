package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/longlead/longlead/services/refsolve/venv"
)

// findCompiler looks for the C compiler that the race detector needs. Where there is none it is installed if that is allowed;
// otherwise the tests run without the detector and the report says so, which is an error in CI.
func (w *work) findCompiler(ctx context.Context, r *record) (bool, error) {
	if hasCompiler(ctx, r) {
		return true, nil
	}
	if w.installSystem(ctx, r, "gcc", "libc6-dev") && hasCompiler(ctx, r) {
		return true, nil
	}
	if w.ci {
		return false, errors.New("no C compiler is here and none can be installed; the race detector needs one (Debian: apt-get install gcc libc6-dev)")
	}
	w.without("the race detector: no C compiler is on this machine (Debian: apt-get install gcc libc6-dev; macOS: xcode-select --install)")
	return false, nil
}

func hasCompiler(ctx context.Context, r *record) bool {
	out, err := r.output(ctx, "go", "env", "CC")
	words := strings.Fields(out)
	if err != nil || len(words) == 0 {
		return false
	}
	_, err = exec.LookPath(words[0])
	return err == nil
}

// installSystem installs packages of the system. It does so only as root in CI: elsewhere the machine is somebody's own, and
// they are told the command instead.
func (w *work) installSystem(ctx context.Context, r *record, packages ...string) bool {
	if !w.ci || os.Geteuid() != 0 {
		return false
	}
	if _, err := exec.LookPath("apt-get"); err != nil {
		return false
	}
	fmt.Fprintf(w.out, "installing %s with apt-get … ", strings.Join(packages, ", "))
	for _, args := range [][]string{{"update"}, append([]string{"install", "-y", "--no-install-recommends"}, packages...)} {
		cmd := r.command(ctx, "apt-get", args...)
		cmd.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
		if err := cmd.Run(); err != nil {
			r.printf("apt-get: %v\n", err)
			return false
		}
	}
	return true
}

// stepReference makes the virtual environment of the reference checks, or finds it.
func stepReference(ctx context.Context, w *work, r *record) outcome {
	w.reference = venv.Absent
	folder, err := venv.Folder()
	if errors.Is(err, venv.ErrAbsent) {
		return w.noReference(false, "%v", err)
	}
	if err != nil {
		return w.noReference(false, "%v", err)
	}
	if _, err := os.Stat(venv.Python(folder)); err == nil {
		if err := tryReference(ctx, r, folder); err != nil {
			return fail("%v; remove %s and run this again", err, folder)
		}
		w.reference = folder
		return pass("found in %s", folder)
	}
	if os.Getenv(venv.Variable) != "" {
		return fail("%s names %s, and no Python is there", venv.Variable, folder)
	}
	if out := w.installReference(ctx, r, folder); out.state != passed {
		return out
	}
	w.reference = folder
	return pass("installed into %s: %s", folder, strings.Join(requirementNames(), ", "))
}

// noReference leaves the reference checks out. In CI that is a failure, except where the machine cannot reach the packages.
func (w *work) noReference(outOfReach bool, format string, args ...any) outcome {
	if w.ci && !outOfReach {
		return fail(format, args...)
	}
	why := fmt.Sprintf(format, args...)
	return outcome{leftOut, why + "; without it: our plans are not compared with HiGHS and CP-SAT, nor our heat index with MetPy, nor our learning curves with SciPy, nor are calendar feeds read by Python"}
}

// installReference builds the environment beside its place and moves it there, so that half of one is never found.
func (w *work) installReference(ctx context.Context, r *record, folder string) outcome {
	python, err := exec.LookPath("python3")
	if err != nil {
		if w.installSystem(ctx, r, "python3-venv") {
			python, err = exec.LookPath("python3")
		}
		if err != nil {
			return w.noReference(false, "python3 is not on this machine")
		}
	}
	if err := os.MkdirAll(filepath.Dir(folder), 0o755); err != nil {
		return fail("%v", err)
	}
	building, err := os.MkdirTemp(filepath.Dir(folder), "building-")
	if err != nil {
		return fail("%v", err)
	}
	defer os.RemoveAll(building)
	if err := r.run(ctx, python, "-m", "venv", building); err != nil {
		// Debian keeps the module's other half in a package of its own.
		if !w.installSystem(ctx, r, "python3-venv") {
			return w.noReference(false, "python3 cannot make a virtual environment (Debian: apt-get install python3-venv)")
		}
		if err := r.run(ctx, python, "-m", "venv", "--clear", building); err != nil {
			return fail("%v", err)
		}
	}
	list := filepath.Join(w.logs, "requirements.txt")
	if err := os.WriteFile(list, []byte(venv.Requirements()), 0o644); err != nil {
		return fail("%v", err)
	}
	said, err := r.both(ctx, venv.Python(building), "-m", "pip", "install", "--no-input", "--disable-pip-version-check", "-r", list)
	if err != nil {
		if unreachable.MatchString(said) {
			return w.noReference(true, "the Python package index cannot be reached")
		}
		return w.noReference(false, "pip could not install the packages: %v", err)
	}
	if err := tryReference(ctx, r, building); err != nil {
		return fail("%v", err)
	}
	return failOn(os.Rename(building, folder))
}

// tryReference loads the packages, since an old or half-removed environment looks whole from outside.
func tryReference(ctx context.Context, r *record, folder string) error {
	if err := r.run(ctx, venv.Python(folder), "-I", "-c", "import highspy, icalendar; from ortools.sat.python import cp_model; import metpy.calc"); err != nil {
		return fmt.Errorf("the reference libraries do not load: %w", err)
	}
	return nil
}

// requirementNames lists the pinned packages.
func requirementNames() []string {
	var names []string
	for line := range strings.Lines(venv.Requirements()) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
			names = append(names, line)
		}
	}
	return names
}
