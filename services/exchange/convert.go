package exchange

import (
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/sheet"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

func kindToProto(k sheet.Kind) *exchangev1.Kind {
	out := &exchangev1.Kind{Name: k.Name, About: k.About, Key: k.Key}
	for _, c := range k.Columns {
		out.Columns = append(out.Columns, &exchangev1.Column{Name: c.Name, About: c.About, Form: c.Form.String(), Required: c.Required, Example: c.Example})
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
		files[i] = File{Name: f.GetName(), Kind: f.GetKind(), Content: f.GetContent()}
	}
	return files, Settings{SkipBad: req.GetSkipBad(), DryRun: req.GetDryRun(), Dates: order}, nil
}

func reportToProto(r Report) *exchangev1.ImportReport {
	out := &exchangev1.ImportReport{Imported: r.Imported}
	for _, f := range r.Files {
		out.Files = append(out.Files, &exchangev1.FileReport{Name: f.Name, Kind: f.Kind, Rows: int32(f.Rows), Taken: int32(f.Taken),
			Rejected: int32(f.Rejected), Notes: f.Notes, RejectedName: f.RejectedName, RejectedContent: f.RejectedContent})
	}
	for _, f := range r.Faults {
		out.Faults = append(out.Faults, &exchangev1.Fault{File: f.File, Line: int32(f.Line), Column: f.Column, Value: f.Value, Rule: f.Rule, Remedy: f.Remedy})
	}
	return out
}
