package setup

import (
	"slices"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/entry"
	"github.com/longlead/longlead/services/console/frame"
	"github.com/longlead/longlead/services/sheet"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

type recordView struct {
	Kind, Title, About, Key string
	Path                    string
	Fields                  []entry.Field
	Others                  []string
	Faulty                  bool
	Trouble                 *frame.Trouble
	MayWrite                bool
	// Dog is the code of a dog, which has a page of its own.
	Dog string
}

func showRecord(v *frame.Visit) error {
	view, _, err := readRecord(v, v.Query("key"))
	if err != nil {
		return err
	}
	if view.Key == "" && !view.MayWrite {
		return apperr.Deniedf("PERMISSION_MISSING", "Adding to this list is not open to you.")
	}
	return v.Show(recordPage, view)
}

// readRecord makes the form of a record; without a key one with what the address says ("f.dog=D-12") and nothing else.
func readRecord(v *frame.Visit, key string) (*recordView, *exchangev1.Kind, error) {
	kind := v.Path("kind")
	got, err := exchangev1.NewExchangeServiceClient(v.Conn).ReadRecord(v.Context(), &exchangev1.ReadRecordRequest{Kind: kind, Key: key})
	if err != nil {
		return nil, nil, unknown(err)
	}
	view := &recordView{Kind: kind, Title: title(kind), About: got.GetKind().GetAbout(), Key: key, Path: "/school/" + kind, MayWrite: v.May(writes) && !slices.Contains(made, kind)}
	for i, c := range got.GetKind().GetColumns() {
		var value string
		if got.GetRecord() != nil {
			value = got.GetRecord().GetCells()[i]
		} else if key == "" {
			value = v.Query("f." + c.GetName())
		}
		f := entry.OfColumn("f."+c.GetName(), c, value, codesOf(got, c.GetName()))
		f.Fixed = !view.MayWrite || key != "" && slices.Contains(got.GetKind().GetKey(), c.GetName())
		view.Fields = append(view.Fields, f)
	}
	if key != "" && kind == "dogs" {
		view.Dog = view.Fields[0].Value
	}
	return view, got.GetKind(), nil
}

func codesOf(r *exchangev1.ReadRecordResponse, column string) *exchangev1.Codes {
	for _, c := range r.GetCodes() {
		if c.GetColumn() == column {
			return c
		}
	}
	return nil
}

// keep writes a record as the import of one row.
func keep(v *frame.Visit) error {
	if slices.Contains(made, v.Path("kind")) {
		return apperr.Deniedf("RECORD_MADE_ELSEWHERE", "These records are made by other steps, and are not written by hand.")
	}
	key := v.Form("key")
	view, kind, err := readRecord(v, key)
	if err != nil {
		return err
	}
	row := entry.Row{Name: "f", Kind: kind.GetName()}
	for i := range view.Fields {
		f := &view.Fields[i]
		if !f.Fixed {
			f.Value = v.Form(f.Name)
		}
		row.Columns, row.Cells = append(row.Columns, kind.GetColumns()[i].GetName()), append(row.Cells, f.Value)
	}
	faults, err := entry.Faults(nil), error(nil)
	if key == "" {
		faults, err = refuseTaken(v, kind, row)
	}
	if faults == nil && err == nil {
		faults, err = entry.Take(v, row)
	}
	if faults == nil && err == nil {
		return v.Done(view.Path, "Kept. Drafts made from now on go by it; what is promised stays.")
	}
	t, ok := frame.Mendable(err)
	if err != nil && !ok {
		return err
	}
	view.point(faults, t)
	return v.ShowAs(422, recordPage, view)
}

// refuseTaken keeps a new record from taking the place of another: an import with a known key changes the record that has it.
func refuseTaken(v *frame.Visit, kind *exchangev1.Kind, row entry.Row) (entry.Faults, error) {
	var parts []string
	for _, name := range kind.GetKey() {
		parts = append(parts, row.Cells[slices.Index(row.Columns, name)])
	}
	_, err := exchangev1.NewExchangeServiceClient(v.Conn).ReadRecord(v.Context(), &exchangev1.ReadRecordRequest{Kind: kind.GetName(), Key: sheet.List(parts...)})
	if t := frame.TroubleOf(err); err != nil && t.Status == 404 || sheet.List(parts...) == "" {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return entry.Faults{"f." + kind.GetKey()[0]: "There is such a record already: look for it in the list to change it, or write another."}, nil
}

// point puts faults at their fields.
func (r *recordView) point(faults entry.Faults, t *frame.Trouble) {
	var shown []string
	for i := range r.Fields {
		r.Fields[i].Fault = faults[r.Fields[i].Name]
		shown = append(shown, r.Fields[i].Name)
	}
	r.Faulty, r.Others, r.Trouble = len(faults) > 0, faults.Any(shown...), t
}
