package main

import (
	"archive/tar"
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// The folder of our .proto files and generated code, and that of the printed third-party files, which git does not hold.
const (
	ourProtos   = "proto/longlead"
	thirdProtos = "proto/thirdparty"
)

func buf(args ...string) []string {
	return append([]string{"tool", "-modfile=proto/codegen/go.mod", "buf"}, args...)
}

func stepProtos(ctx context.Context, _ *work, r *record) outcome {
	return failOn(r.run(ctx, "go", "-C", "proto/codegen", "run", ".", "-only-print"))
}

func stepLint(ctx context.Context, _ *work, r *record) outcome {
	return failOn(r.run(ctx, "go", buf("lint")...))
}

func stepBreaking(ctx context.Context, w *work, r *record) outcome {
	base, err := w.baseline(ctx, r)
	if err != nil {
		return fail("%v", err)
	}
	if base == "" {
		return pass("there is no earlier commit to compare with")
	}
	if _, err := r.output(ctx, "git", "cat-file", "-e", base+":"+ourProtos); err != nil {
		return pass("commit %.12s has no .proto files to compare with", base)
	}
	old, err := os.MkdirTemp("", "verify-old-")
	if err != nil {
		return fail("%v", err)
	}
	defer os.RemoveAll(old)
	if err := w.export(ctx, r, base, old); err != nil {
		return fail("export commit %.12s: %v", base, err)
	}
	if err := r.run(ctx, "go", buf("breaking", "--against", old)...); err != nil {
		return fail("the API breaks callers of commit %.12s: %v", base, err)
	}
	return pass("against commit %.12s", base)
}

// baseline is the commit whose API must be kept: the one asked for; else the last commit, where the .proto files were changed
// since; else where the work left origin/main; else the commit before the last. It is empty where there is no earlier commit.
func (w *work) baseline(ctx context.Context, r *record) (string, error) {
	resolve := func(name string) string {
		out, err := r.output(ctx, "git", "rev-parse", "--verify", "--quiet", name+"^{commit}")
		if err != nil {
			return ""
		}
		return strings.TrimSpace(out)
	}
	if w.against != "" {
		if base := resolve(w.against); base != "" {
			return base, nil
		}
		return "", fmt.Errorf("git knows no commit %q", w.against)
	}
	changed, err := r.output(ctx, "git", "status", "--porcelain", "--", ourProtos)
	if err != nil {
		return "", err
	}
	head := resolve("HEAD")
	if strings.Contains(changed, ".proto") {
		return head, nil
	}
	if resolve("origin/main") != "" {
		out, err := r.output(ctx, "git", "merge-base", "HEAD", "origin/main")
		if base := strings.TrimSpace(out); err == nil && base != head {
			return base, nil
		}
	}
	return resolve("HEAD^"), nil
}

// export writes the buf module of a commit into a folder and puts the printed third-party files beside it.
func (w *work) export(ctx context.Context, r *record, commit, folder string) error {
	var archive bytes.Buffer
	cmd := r.command(ctx, "git", "archive", "--format=tar", commit, "buf.yaml", ourProtos)
	cmd.Stdout = &archive
	if err := cmd.Run(); err != nil {
		return err
	}
	if err := untar(&archive, folder); err != nil {
		return err
	}
	return os.CopyFS(filepath.Join(folder, thirdProtos), os.DirFS(filepath.Join(w.root, thirdProtos)))
}

// untar writes the regular files of an archive below folder.
func untar(archive io.Reader, folder string) error {
	below, err := os.OpenRoot(folder)
	if err != nil {
		return err
	}
	defer below.Close()
	for files := tar.NewReader(archive); ; {
		head, err := files.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if head.Typeflag != tar.TypeReg {
			continue
		}
		text, err := io.ReadAll(files)
		if err != nil {
			return err
		}
		if err := below.MkdirAll(filepath.Dir(head.Name), 0o755); err != nil {
			return err
		}
		if err := below.WriteFile(head.Name, text, 0o644); err != nil {
			return err
		}
	}
}

// stepGenerated makes the generated files anew and compares them with what was there.
func stepGenerated(ctx context.Context, w *work, r *record) outcome {
	ours := os.DirFS(filepath.Join(w.root, ourProtos))
	before, err := generatedFiles(ours)
	if err != nil {
		return fail("%v", err)
	}
	if err := r.run(ctx, "go", "-C", "proto/codegen", "run", "."); err != nil {
		return fail("%v", err)
	}
	after, err := generatedFiles(ours)
	if err != nil {
		return fail("%v", err)
	}
	wrong := append(differing(before, after), orphans(ours, after)...)
	// A clean clone must stay clean; beside changes of one's own this would say nothing.
	if w.ci {
		changed, err := r.output(ctx, "git", "status", "--porcelain", "--", "proto")
		if err != nil {
			return fail("%v", err)
		}
		if changed != "" {
			wrong = append(wrong, "git sees changes under proto:\n"+changed)
		}
	}
	if len(wrong) > 0 {
		r.printf("\n%s\n", strings.Join(wrong, "\n"))
		return fail("%d generated files are out of date; they have been rewritten: commit them", len(wrong))
	}
	return pass("%d files", len(after))
}

// generatedEndings are the endings of generated files, longest first where one ends in another.
var generatedEndings = []string{"_grpc.pb.go", ".pb.gw.go", ".pb.go", ".swagger.json"}

// generatedFiles maps each generated file to a sum of its contents.
func generatedFiles(ours fs.FS) (map[string][sha256.Size]byte, error) {
	sums := map[string][sha256.Size]byte{}
	err := fs.WalkDir(ours, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !slices.ContainsFunc(generatedEndings, func(e string) bool { return strings.HasSuffix(p, e) }) {
			return err
		}
		text, err := fs.ReadFile(ours, p)
		sums[p] = sha256.Sum256(text)
		return err
	})
	return sums, err
}

func differing(before, after map[string][sha256.Size]byte) []string {
	var names []string
	for name, sum := range after {
		if old, had := before[name]; !had {
			names = append(names, name+": was missing")
		} else if old != sum {
			names = append(names, name+": was out of date")
		}
	}
	for name := range before {
		if _, has := after[name]; !has {
			names = append(names, name+": is made no more")
		}
	}
	slices.Sort(names)
	return names
}

// orphans lists generated Go files whose .proto file is gone.
func orphans(ours fs.FS, generated map[string][sha256.Size]byte) []string {
	var names []string
	for name := range generated {
		for _, ending := range generatedEndings[:3] {
			stem, ok := strings.CutSuffix(name, ending)
			if !ok {
				continue
			}
			if _, err := fs.Stat(ours, stem+".proto"); err != nil {
				names = append(names, name+": its .proto file is gone; remove it")
			}
			break
		}
	}
	slices.Sort(names)
	return names
}
