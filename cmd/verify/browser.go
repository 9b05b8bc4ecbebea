package main

import (
	"context"
	"errors"
	"os"
	"strings"

	"github.com/longlead/longlead/services/refsolve/venv"
)

// stepBrowser finds or installs what tests in a browser need: Chromium, and the accessibility rules that npm brings.
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
	if _, err := venv.Axe(); err != nil {
		folder, err := venv.AxeFolder()
		if err != nil {
			return w.noBrowser(false, "%v", err)
		}
		said, err := r.both(ctx, "npm", "install", "--prefix", folder, "--no-audit", "--no-fund", "--ignore-scripts", venv.AxePackage)
		switch {
		case err != nil && unreachable.MatchString(said):
			return w.noBrowser(true, "the npm registry cannot be reached")
		case err != nil:
			return w.noBrowser(false, "npm could not install %s: %v", venv.AxePackage, err)
		}
		if _, err := venv.Axe(); err != nil {
			return fail("%v", err)
		}
	}
	w.browser = program
	return pass("%s, %s", strings.TrimSpace(version), venv.AxePackage)
}

// noBrowser leaves the browser's tests out. In CI that is a failure, except where the machine cannot reach what they need.
func (w *work) noBrowser(outOfReach bool, format string, args ...any) outcome {
	if w.ci && !outOfReach {
		return fail(format, args...)
	}
	out := pass(format, args...)
	return outcome{leftOut, out.note + "; without it: no page is printed or held against accessibility rules"}
}
