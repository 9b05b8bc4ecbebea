// Package entry takes what people type into forms of the console the way files come in: each row of a form is a row of an import, so that the same
// rules hold, all of it is taken or nothing, and what is wrong is told at its field.
package entry

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/console/frame"
	"github.com/longlead/longlead/services/sheet"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

// Row is one record on its way in.
type Row struct {
	// Name tells the row from others of the form; faults carry it.
	Name string
	// Kind is the kind of record.
	Kind string
	// Columns and Cells belong together; a column that is not named stays as it is, or empty.
	Columns []string
	Cells   []string
}

// Faults are what is wrong, by the row's name and the column: "dog.born". What is wrong with a row as a whole stands under the row's name and a dot.
type Faults map[string]string

// Of returns what is wrong with a column of a row; for templates.
func (f Faults) Of(row, column string) string { return f[row+"."+column] }

// Any lists what is wrong with rows as a whole and with columns that are not among those that the form shows.
func (f Faults) Any(shown ...string) (texts []string) {
	for at, text := range f {
		if !slices.Contains(shown, at) {
			texts = append(texts, text)
		}
	}
	slices.Sort(texts)
	return texts
}

func (f Faults) add(at, text string) {
	if f[at] != "" {
		text = f[at] + " " + text
	}
	f[at] = text
}

// Take takes all rows, or none and says why.
func Take(v *frame.Visit, rows ...Row) (Faults, error) {
	req := &exchangev1.ImportRequest{}
	names := map[string]string{}
	for i, row := range rows {
		file, err := fileOf(row, i)
		if err != nil {
			return nil, err
		}
		names[file.GetName()] = row.Name
		req.Files = append(req.Files, file)
	}
	stream, err := exchangev1.NewExchangeServiceClient(v.Conn).Import(v.Context(), req)
	if err != nil {
		return nil, err
	}
	report, err := ReportOf(stream, func(*exchangev1.ImportResponse) {})
	if err != nil {
		return nil, err
	}
	if len(report.GetFaults()) == 0 {
		return nil, nil
	}
	faults := Faults{}
	for _, f := range report.GetFaults() {
		for _, column := range strings.Split(f.GetColumn(), " and ") {
			faults.add(names[f.GetFile()]+"."+column, FaultText(f))
		}
	}
	return faults, nil
}

// fileOf makes a file of one row: then every fault names its row.
func fileOf(row Row, number int) (*exchangev1.ImportFile, error) {
	kind := sheet.Kind{Name: row.Kind}
	for _, name := range row.Columns {
		kind.Columns = append(kind.Columns, sheet.Column{Name: name})
	}
	var b bytes.Buffer
	if err := sheet.Write(&b, "csv", kind, [][]string{row.Cells}); err != nil {
		return nil, fmt.Errorf("write the row %s: %w", row.Name, err)
	}
	return &exchangev1.ImportFile{Name: fmt.Sprintf("%s-%d.csv", row.Kind, number+1), Kind: row.Kind, Content: b.Bytes()}, nil
}

// receiver is the stream of an import.
type receiver interface {
	Recv() (*exchangev1.ImportResponse, error)
}

// ReportOf waits for the report of an import and passes on how far it is.
func ReportOf(stream receiver, tell func(*exchangev1.ImportResponse)) (*exchangev1.ImportReport, error) {
	for {
		got, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil, errors.New("the import ended without a report")
		}
		if err != nil {
			return nil, err
		}
		if got.GetReport() != nil {
			return got.GetReport(), nil
		}
		tell(got)
	}
}

// FaultText is what is wrong and what to do, as a sentence. The cell itself stands beside it.
func FaultText(f *exchangev1.Fault) string {
	text := f.GetRule()
	if text != "" {
		text = strings.ToUpper(text[:1]) + text[1:]
	}
	if f.GetRemedy() != "" {
		text += ": " + f.GetRemedy()
	}
	return strings.TrimRight(text, ".") + "."
}
