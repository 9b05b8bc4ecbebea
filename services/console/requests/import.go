package requests

import (
	"fmt"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/entry"
	"github.com/longlead/longlead/services/console/frame"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

// uploadView is what the page for sending files shows.
type uploadView struct {
	Kinds   []*exchangev1.Kind
	Dates   string
	Trouble *frame.Trouble
}

func showUpload(v *frame.Visit) error {
	view, err := readUpload(v)
	if err != nil {
		return err
	}
	return v.Show(uploadPage, view)
}

func readUpload(v *frame.Visit) (*uploadView, error) {
	kinds, err := exchangev1.NewExchangeServiceClient(v.Conn).ListKinds(v.Context(), &exchangev1.ListKindsRequest{})
	return &uploadView{Kinds: kinds.GetKinds(), Dates: v.Form("dates")}, err
}

// upload takes files to the shelf and checks them; nothing is taken in yet.
func (s *shelf) upload(v *frame.Visit) error {
	sent, err := filesOf(v.Request.MultipartForm)
	if t, ok := frame.Mendable(err); ok {
		view, err := readUpload(v)
		if err != nil {
			return err
		}
		view.Trouble = t
		return v.ShowAs(t.Status, uploadPage, view)
	}
	if err != nil {
		return err
	}
	p := s.put(v.Person.Login, v.Form("dates"), sent, v.Now())
	p.start(v, &exchangev1.ImportRequest{DryRun: true, SkipBad: true})
	return v.To("/import/" + p.id)
}

// show shows how far a check is, or what came of it.
func (s *shelf) show(v *frame.Visit) error {
	p, err := s.take(v)
	if err != nil {
		return err
	}
	p.mu.Lock()
	view := p.view()
	p.mu.Unlock()
	return v.Show(importPage, view)
}

// follow sends how far a check is, and sends the browser back to the page when it is done.
func (s *shelf) follow(v *frame.Visit) error {
	p, err := s.take(v)
	if err != nil {
		return err
	}
	events := v.Events()
	for {
		text, working, next := p.words()
		if !working {
			return quiet(events.Send("away", "/import/"+p.id))
		}
		if events.Send("progress", text) != nil {
			return nil // the browser is gone
		}
		select {
		case <-v.Request.Context().Done():
			return nil
		case <-next:
		case <-time.After(15 * time.Second):
		}
	}
}

// quiet leaves out that the browser is gone: nobody is there to be told.
func quiet(error) error { return nil }

// mend takes corrected cells over, then checks again or takes the files in.
func (s *shelf) mend(v *frame.Visit) error {
	p, err := s.take(v)
	if err != nil {
		return err
	}
	p.mu.Lock()
	working, over := p.working, p.report.GetImported()
	if !working && !over {
		p.correct(v)
	}
	p.mu.Unlock()
	switch {
	case working || over:
		return v.To("/import/" + p.id)
	case v.Form("do") == "take":
		p.start(v, &exchangev1.ImportRequest{})
	case v.Form("do") == "good":
		p.start(v, &exchangev1.ImportRequest{SkipBad: true})
	default:
		p.start(v, &exchangev1.ImportRequest{DryRun: true, SkipBad: true})
	}
	return v.To("/import/" + p.id)
}

// correct turns what a form says about cells that the page has shown into mends.
func (p *parcel) correct(v *frame.Visit) {
	for n, r := range p.report.GetFiles() {
		file := p.fileOf(r)
		if file == nil {
			continue
		}
		for _, row := range r.GetShown() {
			out := v.Form(fmt.Sprintf("out.%d.%d", n, row.GetLine())) != ""
			for cell := range max(len(row.GetCells()), len(r.GetHeader())) {
				name, was := fmt.Sprintf("m.%d.%d.%d", n, row.GetLine(), cell), at(row.GetCells(), cell)
				value := was
				if v.Request.PostForm.Has(name) {
					value = v.Request.PostForm.Get(name)
				}
				if out {
					value = ""
				}
				if value != was || out {
					putMend(file, &exchangev1.Mend{Sheet: r.GetSheet(), Line: row.GetLine(), Cell: int32(cell), Value: value})
				}
			}
		}
	}
}

// putMend replaces an earlier mend of the cell.
func putMend(f *exchangev1.ImportFile, m *exchangev1.Mend) {
	f.Mends = slices.DeleteFunc(f.Mends, func(old *exchangev1.Mend) bool {
		return old.GetSheet() == m.GetSheet() && old.GetLine() == m.GetLine() && old.GetCell() == m.GetCell()
	})
	f.Mends = append(f.Mends, m)
}

func at(cells []string, i int) string {
	if i < len(cells) {
		return cells[i]
	}
	return ""
}

// part finds the part of the report that an address names.
func (s *shelf) part(v *frame.Visit) (*parcel, *exchangev1.FileReport, error) {
	p, err := s.take(v)
	if err != nil {
		return nil, nil, err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	n, err := strconv.Atoi(v.Path("number"))
	if err != nil || n < 0 || n >= len(p.report.GetFiles()) {
		return nil, nil, apperr.NotFoundf("FILE_UNKNOWN", "There is no such file in this import.")
	}
	return p, p.report.GetFiles()[n], nil
}

// rejected gives the rows with a fault, each with its reasons.
func (s *shelf) rejected(v *frame.Visit) error {
	_, part, err := s.part(v)
	if err != nil {
		return err
	}
	if len(part.GetRejectedContent()) == 0 {
		return apperr.NotFoundf("NOTHING_REJECTED", "No row of this file was left out.")
	}
	return send(v, part.GetRejectedName(), part.GetRejectedContent())
}

// mended gives the file with its mends, whole.
func (s *shelf) mended(v *frame.Visit) error {
	p, part, err := s.part(v)
	if err != nil {
		return err
	}
	p.mu.Lock()
	file := p.fileOf(part)
	p.mu.Unlock()
	if file == nil {
		return apperr.NotFoundf("FILE_TAKEN", "This file has been taken in: export its records instead.")
	}
	got, err := exchangev1.NewExchangeServiceClient(v.Conn).MendFile(v.Context(), &exchangev1.MendFileRequest{File: file, Sheet: part.GetSheet(), Dates: p.dates})
	if err != nil {
		return err
	}
	return send(v, got.GetName(), got.GetContent())
}

// send answers with a file to keep.
func send(v *frame.Visit, name string, content []byte) error {
	h := v.Writer().Header()
	h.Set("Content-Type", "text/csv; charset=utf-8")
	if strings.HasSuffix(name, ".xlsx") {
		h.Set("Content-Type", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
	}
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	v.Writer().WriteHeader(http.StatusOK)
	_, err := v.Writer().Write(content)
	return quiet(err)
}

// whole are faults of files as such, which no cell can mend.
func whole(faults []*exchangev1.Fault) (out []string) {
	for _, f := range faults {
		if f.GetLine() == 0 {
			out = append(out, f.GetFile()+": "+entry.FaultText(f))
		}
	}
	return out
}

// troubleOf puts what ended a check into words; nil when nothing did.
func troubleOf(err error) *frame.Trouble {
	if err == nil {
		return nil
	}
	if t, ok := frame.Mendable(err); ok {
		return t
	}
	t := frame.TroubleOf(err)
	return &t
}
