package requests

import (
	"fmt"

	"github.com/longlead/longlead/services/console/entry"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

const (
	// mostBytes of cells are shown on a page; rows beyond are counted only.
	mostBytes = 90 << 10
	// longCell is the longest cell that can be mended on a page, in bytes.
	longCell = 2000
)

// importView is what the page of files that are being mended shows.
type importView struct {
	Path     string
	Working  bool
	Progress string
	Trouble  *trouble
	Report   *exchangev1.ImportReport
	// Whole are faults of a file as such.
	Whole []string
	Parts []part
	// Good and Bad count rows; Faults what is wrong.
	Good, Bad, Faults int32
	Mends             int
}

type trouble struct{ Text string }

// RefreshSeconds loads the page anew for browsers without scripts.
func (i importView) RefreshSeconds() int {
	if i.Working {
		return 2
	}
	return 0
}

// part is one list of a file, with its rows that have a fault and those around them.
type part struct {
	*exchangev1.FileReport
	Number int
	Head   []string
	Rows   []row
	// More are faulty rows that are not shown.
	More                     int32
	MendedPath, RejectedPath string
	Mended                   bool
}

type row struct {
	Line   int32
	Cells  []cell
	Faults []string
	// Out is the field for leaving the row out; empty for a row without a fault.
	Out string
	// Gap says that rows between the one before and this one are not shown.
	Gap bool
}

// cell is one cell; Name is that of its field when it can be mended.
type cell struct {
	Value, Name, Label string
	Wrong              bool
}

// view is what a page shows of a parcel; the caller holds its lock.
func (p *parcel) view() importView {
	v := importView{Path: "/import/" + p.id, Working: p.working, Report: p.report}
	if t := troubleOf(p.failed); t != nil {
		v.Trouble = &trouble{Text: t.Text}
	}
	if p.working {
		v.Progress = "reading the files"
		if g := p.progress; g.GetKind() != "" {
			v.Progress = fmt.Sprintf("%s: %d of %d rows", g.GetKind(), g.GetRowsDone(), g.GetRows())
		}
		return v
	}
	v.Whole, v.Faults = whole(p.report.GetFaults()), int32(len(p.report.GetFaults()))
	left := mostBytes
	for n, r := range p.report.GetFiles() {
		one := part{FileReport: r, Number: n, Head: r.GetHeader()}
		v.Good, v.Bad = v.Good+r.GetTaken(), v.Bad+r.GetRejected()
		if f := p.fileOf(r); len(f.GetMends()) > 0 {
			one.Mended, one.MendedPath = true, fmt.Sprintf("%s/mended/%d", v.Path, n)
			v.Mends += len(f.GetMends())
		}
		if len(r.GetRejectedContent()) > 0 {
			one.RejectedPath = fmt.Sprintf("%s/rejected/%d", v.Path, n)
		}
		one.fill(&left)
		v.Parts = append(v.Parts, one)
	}
	return v
}

// fill lays out the rows, as long as they fit into the page.
func (p *part) fill(left *int) {
	p.More = p.GetRejected()
	last := int32(-1)
	for _, r := range p.GetShown() {
		size := 0
		for _, c := range r.GetCells() {
			size += 2*min(len(c), longCell) + 60
		}
		if *left -= size; *left < 0 {
			return
		}
		one := row{Line: r.GetLine(), Gap: last >= 0 && r.GetLine() > last+1}
		last = r.GetLine()
		if len(r.GetFaults()) > 0 {
			p.More--
			one.Out = fmt.Sprintf("out.%d.%d", p.Number, r.GetLine())
		}
		one.cells(p, r)
		p.Rows = append(p.Rows, one)
	}
}

// cells makes the cells of a row. Those with a fault can be mended; where a fault is about the row as a whole, all can.
func (o *row) cells(p *part, r *exchangev1.ShownRow) {
	wrong, all := map[int]bool{}, false
	for i, f := range r.GetFaults() {
		at := int(r.GetFaultCells()[i])
		wrong[at], all = true, all || at < 0
		text := entry.FaultText(f)
		if at >= 0 {
			text = f.GetColumn() + ": " + text
		}
		o.Faults = append(o.Faults, text)
	}
	for i := range max(len(r.GetCells()), len(p.Head)) {
		c := cell{Value: at(r.GetCells(), i), Wrong: wrong[i], Label: fmt.Sprintf("%s of line %d", at(p.Head, i), r.GetLine())}
		if (c.Wrong || all) && len(c.Value) <= longCell {
			c.Name = fmt.Sprintf("m.%d.%d.%d", p.Number, r.GetLine(), i)
		} else {
			c.Value = shorten(c.Value)
		}
		o.Cells = append(o.Cells, c)
	}
}

func shorten(text string) string {
	if short := cut(text, 60); short != text {
		return short + "…"
	}
	return text
}
