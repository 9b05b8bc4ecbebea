package main

import (
	"context"
	"errors"
	"os"
	"strings"

	"github.com/longlead/longlead/services/refsolve/venv"
)

// stepBrowser finds or installs what tests in a browser need: Chromium, the accessibility rules and the calendar library that npm brings.
func stepBrowser(ctx context.Context, w *work, r *record) outcome {
	w.browser = venv.Absent
	program, err := venv.Browser()
	if errors.Is(err, venv.ErrNoBrowser) {
		return w.noBrowser(false, "%v", err)
	}
	if err != nil && os.Getenv(venv.BrowserVariable) == "" && w.installSystem(ctx, r, "chromium", "fonts-liberation") {
		program, err = venv.Browser()
	}
	if err != nil {
		return w.noBrowser(false, "%v", err)
	}
	version, err := r.output(ctx, program, "--version", "--no-sandbox")
	if err != nil {
		return fail("the browser does not start: %v", err)
	}
	for _, p := range []struct {
		name   string
		there  func() (string, error)
		folder func() (string, error)
	}{{venv.AxePackage, venv.Axe, venv.AxeFolder}, {venv.CalendarPackage, venv.CalendarLibrary, venv.CalendarFolder}} {
		if out, ok := w.installPackage(ctx, r, p.name, p.there, p.folder); !ok {
			return out
		}
	}
	w.browser = program
	return pass("%s, %s, %s", strings.TrimSpace(version), venv.AxePackage, venv.CalendarPackage)
}

// installPackage installs an npm package unless it is there; ok is false where that is the end of the step.
func (w *work) installPackage(ctx context.Context, r *record, name string, there, folder func() (string, error)) (out outcome, ok bool) {
	if _, err := there(); err == nil {
		return outcome{}, true
	}
	dir, err := folder()
	if err != nil {
		return w.noBrowser(false, "%v", err), false
	}
	said, err := r.both(ctx, "npm", "install", "--prefix", dir, "--no-audit", "--no-fund", "--ignore-scripts", name)
	switch {
	case err != nil && unreachable.MatchString(said):
		return w.noBrowser(true, "the npm registry cannot be reached"), false
	case err != nil:
		return w.noBrowser(false, "npm could not install %s: %v", name, err), false
	}
	if _, err := there(); err != nil {
		return fail("%v", err), false
	}
	return outcome{}, true
}

// noBrowser leaves the browser's tests out. In CI that is a failure, except where the machine cannot reach what they need.
func (w *work) noBrowser(outOfReach bool, format string, args ...any) outcome {
	if w.ci && !outOfReach {
		return fail(format, args...)
	}
	out := pass(format, args...)
	return outcome{leftOut, out.note + "; without it: no page is printed or held against accessibility rules, and no letter's calendar part is read by JavaScript"}
}
