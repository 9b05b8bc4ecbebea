package exchange

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

const (
	// usualPage is how many records a page has when nobody says.
	usualPage = 50
	// mostCodes is how many codes are offered at once.
	mostCodes = 50
)

// ListRecords lists one page of the records of a kind.
func (s *Server) ListRecords(ctx context.Context, req *exchangev1.ListRecordsRequest) (*exchangev1.ListRecordsResponse, error) {
	p := port(s.deps.Ports, req.GetKind())
	if p == nil {
		return nil, s.kindUnknown("kind", req.GetKind())
	}
	all, err := s.recordsOf(ctx, p)
	if err != nil {
		return nil, err
	}
	out := &exchangev1.ListRecordsResponse{Kind: kindToProto(*p), All: int32(len(all))}
	if find := strings.ToLower(strings.TrimSpace(req.GetFind())); find != "" {
		all = slices.DeleteFunc(all, func(cells []string) bool {
			return !slices.ContainsFunc(cells, func(cell string) bool { return strings.Contains(strings.ToLower(cell), find) })
		})
	}
	out.Matching = int32(len(all))
	from := min(int(req.GetOffset()), len(all))
	for _, cells := range all[from:min(from+cmp.Or(int(req.GetLimit()), usualPage), len(all))] {
		out.Records = append(out.Records, &exchangev1.Record{Key: keyOf(p, cells), Cells: cells})
	}
	return out, nil
}

func (s *Server) recordsOf(ctx context.Context, p *records.Port) (all [][]string, err error) {
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		all, err = p.List(ctx, tx)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list %s: %w", p.Kind.Name, err)
	}
	return all, nil
}

// keyOf names a record by the cells of its key; no two records of a kind have the same.
func keyOf(p *records.Port, cells []string) string {
	parts := make([]string, len(p.Kind.Key))
	for i, name := range p.Kind.Key {
		parts[i] = cells[slices.IndexFunc(p.Kind.Columns, func(c sheet.Column) bool { return c.Name == name })]
	}
	return sheet.List(parts...)
}

// ReadRecord reads one record, and the codes that its columns can hold.
func (s *Server) ReadRecord(ctx context.Context, req *exchangev1.ReadRecordRequest) (*exchangev1.ReadRecordResponse, error) {
	p := port(s.deps.Ports, req.GetKind())
	if p == nil {
		return nil, s.kindUnknown("kind", req.GetKind())
	}
	out := &exchangev1.ReadRecordResponse{Kind: kindToProto(*p)}
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		out.Record, out.Codes = nil, nil
		if req.GetKey() != "" {
			all, err := p.List(ctx, tx)
			if err != nil {
				return fmt.Errorf("list %s: %w", p.Kind.Name, err)
			}
			i := slices.IndexFunc(all, func(cells []string) bool { return keyOf(p, cells) == req.GetKey() })
			if i < 0 {
				return apperr.NotFoundf("RECORD_UNKNOWN", "There is no record %q among the %s. It may have been renamed: look for it in the list.", req.GetKey(), p.Kind.Name)
			}
			out.Record = &exchangev1.Record{Key: req.GetKey(), Cells: all[i]}
		}
		read := map[string][]string{}
		for _, c := range p.Kind.Columns {
			if c.Refers == "" {
				continue
			}
			if _, ok := read[c.Refers]; !ok {
				var err error
				if read[c.Refers], err = s.codesOf(ctx, tx, c.Refers); err != nil {
					return err
				}
			}
			codes, more := firstCodes(read[c.Refers], "")
			out.Codes = append(out.Codes, &exchangev1.Codes{Column: c.Name, Codes: codes, More: more})
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// FindCodes finds codes that references can hold.
func (s *Server) FindCodes(ctx context.Context, req *exchangev1.FindCodesRequest) (*exchangev1.FindCodesResponse, error) {
	if p := port(s.deps.Ports, req.GetKind()); p == nil || p.Codes == nil {
		return nil, apperr.InvalidField("kind", fmt.Sprintf("%q is no kind that others refer to", req.GetKind()), "name one that a column refers to, such as dogs")
	}
	all, err := s.codesOf(ctx, s.deps.Pool, req.GetKind())
	if err != nil {
		return nil, err
	}
	out := &exchangev1.FindCodesResponse{}
	out.Codes, out.More = firstCodes(all, req.GetFind())
	return out, nil
}

// codesOf returns the codes of a kind, sorted.
func (s *Server) codesOf(ctx context.Context, db postgres.DB, kind string) ([]string, error) {
	codes, err := port(s.deps.Ports, kind).Codes(ctx, db)
	if err != nil {
		return nil, fmt.Errorf("look up the codes of %s: %w", kind, err)
	}
	return slices.Sorted(maps.Keys(codes)), nil
}

func firstCodes(all []string, find string) (codes []string, more bool) {
	find = strings.ToLower(strings.TrimSpace(find))
	for _, code := range all {
		if find != "" && !strings.Contains(strings.ToLower(code), find) {
			continue
		}
		if len(codes) == mostCodes {
			return codes, true
		}
		codes = append(codes, code)
	}
	return codes, false
}

// MendFile gives a file with its mends.
func (s *Server) MendFile(ctx context.Context, req *exchangev1.MendFileRequest) (*exchangev1.MendFileResponse, error) {
	order, err := sheet.ParseDateOrder(req.GetDates())
	if err != nil {
		return nil, apperr.InvalidField("dates", err.Error(), "use dmy or mdy, or leave it empty")
	}
	read, err := readFiles(ctx, s.deps.Ports, []File{fileFromProto(req.GetFile())}, Settings{Dates: order}, func(Progress) {})
	if err != nil {
		return nil, err
	}
	for _, t := range read.tables {
		if t.Sheet != req.GetSheet() {
			continue
		}
		name, format := rejectedName(t)
		var buffer bytes.Buffer
		if err := sheet.WriteMended(&buffer, format, t); err != nil {
			return nil, fmt.Errorf("write the mended %s: %w", t.Kind.Name, err)
		}
		return &exchangev1.MendFileResponse{Name: strings.Replace(name, ".rejected.", ".mended.", 1), Content: buffer.Bytes()}, nil
	}
	if len(read.faults) > 0 {
		return nil, apperr.Invalidf("FILE_UNREADABLE", "%s", read.faults[0].String())
	}
	return nil, apperr.InvalidField("sheet", "is no sheet of this file that holds a list", "leave it empty for CSV")
}
