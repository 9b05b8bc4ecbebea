package exchange

import (
	"slices"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

func kindToProto(p records.Port) *exchangev1.Kind {
	k := p.Kind
	out := &exchangev1.Kind{Name: k.Name, About: k.About, Key: k.Key}
	for _, c := range k.Columns {
		longest := 0
		if c.Form == sheet.FormText {
			longest = c.Max
		} else if c.Form == sheet.FormCode {
			longest = sheet.MaxCode
		}
		out.Columns = append(out.Columns, &exchangev1.Column{Name: c.Name, About: c.About, Form: c.Form.String(), Required: c.Required || slices.Contains(k.Key, c.Name),
			Example: c.Example, OneOf: c.OneOf, Refers: c.Refers, Within: p.Within[c.Name], Many: c.Many, Longest: int32(longest)})
	}
	return out
}

func importFromProto(req *exchangev1.ImportRequest) ([]File, Settings, error) {
	order, err := sheet.ParseDateOrder(req.GetDates())
	if err != nil {
		return nil, Settings{}, apperr.InvalidField("dates", err.Error(), "use dmy or mdy, or leave it empty")
	}
	files := make([]File, len(req.GetFiles()))
	for i, f := range req.GetFiles() {
		files[i] = fileFromProto(f)
	}
	return files, Settings{SkipBad: req.GetSkipBad(), DryRun: req.GetDryRun(), Dates: order, ShowRows: int(req.GetShowRows())}, nil
}

func fileFromProto(f *exchangev1.ImportFile) File {
	file := File{Name: f.GetName(), Kind: f.GetKind(), Content: f.GetContent()}
	for _, m := range f.GetMends() {
		file.Mends = append(file.Mends, sheet.Mend{Sheet: m.GetSheet(), Line: int(m.GetLine()), Cell: int(m.GetCell()), Value: m.GetValue()})
	}
	return file
}

func reportToProto(r Report) *exchangev1.ImportReport {
	out := &exchangev1.ImportReport{Imported: r.Imported}
	for _, f := range r.Files {
		file := &exchangev1.FileReport{Name: f.Name, Kind: f.Kind, Rows: int32(f.Rows), Taken: int32(f.Taken), Rejected: int32(f.Rejected), Notes: f.Notes,
			RejectedName: f.RejectedName, RejectedContent: f.RejectedContent, Sheet: f.Sheet, Header: f.Header}
		for _, row := range f.Shown {
			shown := &exchangev1.ShownRow{Line: int32(row.Line), Cells: row.Cells, Faults: faultsToProto(row.Faults)}
			for _, at := range row.At {
				shown.FaultCells = append(shown.FaultCells, int32(at))
			}
			file.Shown = append(file.Shown, shown)
		}
		out.Files = append(out.Files, file)
	}
	out.Faults = faultsToProto(r.Faults)
	return out
}

func faultsToProto(faults []sheet.Fault) (out []*exchangev1.Fault) {
	for _, f := range faults {
		out = append(out, &exchangev1.Fault{File: f.File, Line: int32(f.Line), Column: f.Column, Value: f.Value, Rule: f.Rule, Remedy: f.Remedy})
	}
	return out
}
