package frame

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"mime"
	"net/http"
	"path"
)

//go:embed static/*
var staticFiles embed.FS

const staticPrefix = "/static/"

// static is files that never change under their address: it holds a stamp of what is in them.
type static struct {
	files map[string][]byte
	// paths maps the name of a file to its address.
	paths map[string]string
	stamp string
}

func readStatic() *static {
	s := &static{files: map[string][]byte{}, paths: map[string]string{}}
	entries, err := fs.ReadDir(staticFiles, "static")
	if err != nil {
		panic(err) // part of the program
	}
	sum := sha256.New()
	for _, e := range entries {
		content, err := fs.ReadFile(staticFiles, "static/"+e.Name())
		if err != nil {
			panic(err)
		}
		s.files[e.Name()] = content
		sum.Write(content)
	}
	s.stamp = hex.EncodeToString(sum.Sum(nil))[:16]
	for name := range s.files {
		s.paths[name] = staticPrefix + s.stamp + "/" + name
	}
	return s
}

func (s *static) serve(w http.ResponseWriter, r *http.Request) {
	content, ok := s.files[r.PathValue("file")]
	if !ok || r.PathValue("stamp") != s.stamp {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", mime.TypeByExtension(path.Ext(r.PathValue("file"))))
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(content)
}
