package venv

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
)

// BrowserVariable is the environment variable that leaves the browser's tests out when it is Absent, and else names a Chromium to use
// instead of the one that is found on the PATH.
const BrowserVariable = "LONGLEAD_BROWSER"

// ErrNoBrowser says that the browser's tests are left out on purpose.
var ErrNoBrowser = errors.New(BrowserVariable + "=" + Absent + ": the browser's tests are left out")

// AxePackage is the npm package of the accessibility rules that pages are held against, and its version.
const AxePackage = "axe-core@4.14.1"

// CalendarPackage is the npm package that reads calendars as a reference, and its version. It is installed together with AxePackage.
const CalendarPackage = "ical.js@2.2.1"

// browsers are the names under which Chromium is found on a PATH.
var browsers = []string{"chromium", "chromium-browser", "google-chrome-stable", "google-chrome"}

// Browser returns the program of a Chromium, ErrNoBrowser where the tests are left out, or an error that says how to come by one.
func Browser() (string, error) { return browser(os.Getenv(BrowserVariable)) }

func browser(setting string) (string, error) {
	switch setting {
	case Absent:
		return "", ErrNoBrowser
	case "":
		for _, name := range browsers {
			if path, err := exec.LookPath(name); err == nil {
				return path, nil
			}
		}
		return "", fmt.Errorf("no Chromium is on the PATH (Debian: apt-get install chromium); install it and run `go run ./cmd/verify browser`, or set %s=%s to leave its tests out",
			BrowserVariable, Absent)
	}
	path, err := exec.LookPath(setting)
	if err != nil {
		return "", fmt.Errorf("%s names %s, which is no program: %w", BrowserVariable, setting, err)
	}
	return path, nil
}

// AxeFolder is where npm puts AxePackage, in the user's cache folder; it need not exist. Its name changes with the version.
func AxeFolder() (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("find the user's cache folder for the browser's tests: %w", err)
	}
	return filepath.Join(cache, "longlead", AxePackage), nil
}

// Axe returns the file with the accessibility rules, or an error that says how to make it.
func Axe() (string, error) {
	folder, err := AxeFolder()
	if err != nil {
		return "", err
	}
	file := filepath.Join(folder, "node_modules", "axe-core", "axe.min.js")
	if _, err := os.Stat(file); err != nil {
		return "", fmt.Errorf("no accessibility rules in %s; run `go run ./cmd/verify browser` to install them, or set %s=%s to leave these tests out: %w",
			folder, BrowserVariable, Absent, err)
	}
	return file, nil
}

// CalendarFolder is where npm puts CalendarPackage, in the user's cache folder; it need not exist. Its name changes with the version.
func CalendarFolder() (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("find the user's cache folder for the calendar library: %w", err)
	}
	return filepath.Join(cache, "longlead", CalendarPackage), nil
}

// CalendarLibrary returns the folder of the library ical.js, ErrNoBrowser where the browser's tests are left out, or an error that says how to
// install it.
func CalendarLibrary() (string, error) {
	if os.Getenv(BrowserVariable) == Absent {
		return "", ErrNoBrowser
	}
	folder, err := CalendarFolder()
	if err != nil {
		return "", err
	}
	library := filepath.Join(folder, "node_modules", "ical.js")
	if _, err := os.Stat(filepath.Join(library, "package.json")); err != nil {
		return "", fmt.Errorf("no calendar library in %s; run `go run ./cmd/verify browser` to install it, or set %s=%s to leave these tests out: %w",
			folder, BrowserVariable, Absent, err)
	}
	return library, nil
}
