package main

import (
	"archive/tar"
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

func TestBaseline(t *testing.T) {
	t.Parallel()
	w, r := repository(t)
	base := func() string {
		t.Helper()
		commit, err := w.baseline(t.Context(), r)
		require.NoError(t, err)
		return commit
	}
	commit := func(name string) string {
		write(t, w.root, name, "syntax = \"proto3\";\n")
		git(t, w.root, "add", ".")
		git(t, w.root, "commit", "-q", "-m", name)
		return git(t, w.root, "rev-parse", "HEAD")
	}
	first := commit("proto/longlead/a.proto")
	require.Empty(t, base(), "there is no earlier commit")
	second := commit("b.txt")
	require.Equal(t, first, base(), "the commit before the last")

	write(t, w.root, "proto/longlead/a.proto", "changed")
	require.Equal(t, second, base(), "the last commit, when .proto files were changed since")
	git(t, w.root, "checkout", "-q", "--", ".")

	git(t, w.root, "update-ref", "refs/remotes/origin/main", second)
	require.Equal(t, first, base(), "origin/main is here already")
	commit("c.txt")
	commit("d.txt")
	require.Equal(t, second, base(), "where the work left origin/main")

	w.against = first
	require.Equal(t, first, base())
	w.against = "nowhere"
	_, err := w.baseline(t.Context(), r)
	require.ErrorContains(t, err, `git knows no commit "nowhere"`)
}

func TestExport(t *testing.T) {
	t.Parallel()
	w, r := repository(t)
	write(t, w.root, "buf.yaml", "version: v2\n")
	write(t, w.root, "proto/longlead/x/v1/x.proto", "old")
	git(t, w.root, "add", ".")
	git(t, w.root, "commit", "-q", "-m", "one")
	write(t, w.root, "proto/longlead/x/v1/x.proto", "new")
	write(t, w.root, "proto/thirdparty/google/y.proto", "printed")
	folder := t.TempDir()
	require.NoError(t, w.export(t.Context(), r, "HEAD", folder))
	for name, want := range map[string]string{"buf.yaml": "version: v2\n", "proto/longlead/x/v1/x.proto": "old", "proto/thirdparty/google/y.proto": "printed"} {
		text, err := os.ReadFile(filepath.Join(folder, name))
		require.NoError(t, err)
		require.Equal(t, want, string(text), name)
	}
}

func TestUntarStaysInItsFolder(t *testing.T) {
	t.Parallel()
	var archive bytes.Buffer
	files := tar.NewWriter(&archive)
	require.NoError(t, files.WriteHeader(&tar.Header{Name: "../escaped", Typeflag: tar.TypeReg, Size: 1, Mode: 0o644}))
	_, err := files.Write([]byte("x"))
	require.NoError(t, err)
	require.NoError(t, files.Close())
	parent := t.TempDir()
	folder := filepath.Join(parent, "in")
	require.NoError(t, os.Mkdir(folder, 0o755))
	require.Error(t, untar(&archive, folder))
	require.NoFileExists(t, filepath.Join(parent, "escaped"))
}

func TestGeneratedFilesAreCompared(t *testing.T) {
	t.Parallel()
	before := fstest.MapFS{"x/v1/x.proto": file("p"), "x/v1/x.pb.go": file("1"), "x/v1/x_grpc.pb.go": file("1"), "x/v1/gone.pb.gw.go": file("1"), "openapi/openapi.go": file("hand")}
	after := fstest.MapFS{"x/v1/x.proto": file("p"), "x/v1/x.pb.go": file("2"), "x/v1/x_grpc.pb.go": file("1"), "x/v1/x.pb.gw.go": file("1"), "x/v1/left.pb.go": file("1"),
		"openapi/longlead.swagger.json": file("{}"), "openapi/openapi.go": file("hand, changed")}
	old, err := generatedFiles(before)
	require.NoError(t, err)
	now, err := generatedFiles(after)
	require.NoError(t, err)
	require.Equal(t, []string{"openapi/longlead.swagger.json: was missing", "x/v1/gone.pb.gw.go: is made no more", "x/v1/left.pb.go: was missing",
		"x/v1/x.pb.go: was out of date", "x/v1/x.pb.gw.go: was missing"}, differing(old, now))
	require.Empty(t, differing(now, now))
	require.Equal(t, []string{"x/v1/left.pb.go: its .proto file is gone; remove it"}, orphans(after, now))
}

func file(text string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(text)} }
