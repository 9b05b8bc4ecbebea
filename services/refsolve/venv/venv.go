// Package venv says where what tests compare with lives: the Python packages of the reference checks, a virtual environment in the user's cache
// folder, and a browser with accessibility rules (browser.go). cmd/verify makes them and tests use them. It imports nothing of ours, so that cmd/verify builds whatever the state of
// the rest.
package venv

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
)

// Variable is the environment variable that says where the virtual environment is. When it is empty the place is worked out
// from the user's cache folder; when it is Absent the checks that need it are left out.
const Variable = "LONGLEAD_REFERENCE"

// Absent is the value of Variable that leaves the reference checks out.
const Absent = "absent"

// ErrAbsent says that the reference checks are left out on purpose.
var ErrAbsent = errors.New(Variable + "=" + Absent + ": the reference checks are left out")

//go:embed requirements.txt
var requirements string

//go:embed requirements-bench.txt
var benchRequirements string

// BenchRequirements is the list of pinned packages that only the side-by-side benchmark needs, in the form that pip reads. They
// are installed into the same folder when it is run; Folder does not change with them.
func BenchRequirements() string { return benchRequirements }

// Requirements is the list of pinned packages in the form that pip reads.
func Requirements() string { return requirements }

// Folder returns the folder of the virtual environment, which need not exist. Its name changes with the pinned packages, so
// that an old environment is never taken for a new one. It returns ErrAbsent where the checks are left out.
func Folder() (string, error) { return folder(os.Getenv(Variable)) }

func folder(setting string) (string, error) {
	switch setting {
	case "":
	case Absent:
		return "", ErrAbsent
	default:
		return setting, nil
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("find the user's cache folder for the reference libraries: %w", err)
	}
	sum := sha256.Sum256([]byte(requirements))
	return filepath.Join(cache, "longlead", "reference-"+hex.EncodeToString(sum[:6])), nil
}

// Python returns the path of the Python program in the virtual environment at folder.
func Python(folder string) string {
	if runtime.GOOS == "windows" {
		return filepath.Join(folder, "Scripts", "python.exe")
	}
	return filepath.Join(folder, "bin", "python")
}

// Find returns the Python program of an environment that is there. It returns ErrAbsent where the checks are left out, and
// an error that says how to make the environment where it is missing.
func Find() (string, error) {
	at, err := Folder()
	if err != nil {
		return "", err
	}
	return find(at)
}

func find(at string) (string, error) {
	python := Python(at)
	if _, err := os.Stat(python); err != nil {
		return "", fmt.Errorf("no reference libraries in %s; run `go run ./cmd/verify reference` to install them, or set %s=%s to leave these checks out: %w",
			at, Variable, Absent, err)
	}
	return python, nil
}
