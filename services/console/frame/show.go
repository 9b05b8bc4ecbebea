package frame

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"slices"
	"strings"
)

//go:embed templates/*.html
var frameFiles embed.FS

// Template is a page's template, which stands in the frame's.
type Template struct {
	set *template.Template
}

// Parse reads a page's template from a file that defines "title" and "main", and may define more parts. It sees all files
// beside it whose names begin with "_" as well. It panics on a fault: the file is part of the program.
func Parse(files fs.FS, name string) *Template {
	set := template.New("frame.html").Funcs(functions())
	template.Must(set.ParseFS(frameFiles, "templates/*.html"))
	if files == nil {
		return &Template{set: set}
	}
	shared, err := fs.Glob(files, path.Join(path.Dir(name), "_*.html"))
	if err != nil {
		panic(err)
	}
	template.Must(set.ParseFS(files, append(shared, name)...))
	return &Template{set: set}
}

// shown is what templates see. The page's own part is .Page; "token" takes the whole.
type shown struct {
	Person   Person
	Sections []link
	Token    string
	Notice   string
	Path     string
	Static   map[string]string
	// Refresh is the number of seconds after which a browser without scripts loads the page anew; 0 for never.
	Refresh int
	Page    any
}

type link struct {
	Name, Path string
	Here       bool
}

func (v *Visit) shown(page any) shown {
	s := shown{Person: v.Person, Token: v.Token(), Path: v.Request.URL.Path, Static: v.frame.static.paths, Page: page}
	if v.Person.Login != "" {
		s.Sections = v.sections()
	}
	if r, ok := page.(interface{ RefreshSeconds() int }); ok {
		s.Refresh = r.RefreshSeconds()
	}
	return s
}

// sections are the entries of the bar that are open to the person.
func (v *Visit) sections() (open []link) {
	for _, s := range v.frame.sections {
		if s.Needs != 0 && !v.May(s.Needs) || len(s.Roles) > 0 && !slices.Contains(s.Roles, v.Person.Role) {
			continue
		}
		here := slices.ContainsFunc(append(s.Prefixes, s.Path), func(prefix string) bool {
			return v.Request.URL.Path == prefix || strings.HasPrefix(v.Request.URL.Path, prefix+"/")
		})
		open = append(open, link{Name: s.Name, Path: s.Path, Here: here})
	}
	return open
}

// Show answers with a page.
func (v *Visit) Show(t *Template, page any) error { return v.ShowAs(http.StatusOK, t, page) }

// ShowAs answers with a page and a status, such as 422 for a form that is shown again with its faults.
func (v *Visit) ShowAs(status int, t *Template, page any) error {
	s := v.shown(page)
	s.Notice = v.notice()
	return v.write(status, t, "frame.html", s)
}

// Part answers with one named part of a page.
func (v *Visit) Part(t *Template, name string, page any) error {
	return v.write(http.StatusOK, t, name, v.shown(page))
}

// Render returns one named part of a page, for Events.
func (v *Visit) Render(t *Template, name string, page any) (string, error) {
	var b bytes.Buffer
	if err := t.set.ExecuteTemplate(&b, name, v.shown(page)); err != nil {
		return "", fmt.Errorf("show %s: %w", name, err)
	}
	return b.String(), nil
}

// write shows a whole page or none.
func (v *Visit) write(status int, t *Template, name string, s shown) error {
	var b bytes.Buffer
	if err := t.set.ExecuteTemplate(&b, name, s); err != nil {
		return fmt.Errorf("show %s: %w", v.Request.URL.Path, err)
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.w.WriteHeader(status)
	_, _ = v.w.Write(b.Bytes())
	return nil
}
