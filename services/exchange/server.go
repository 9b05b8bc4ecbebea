package exchange

import (
	"bytes"
	"context"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
	"google.golang.org/grpc"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	Mint ids.Mint
	Now  func() time.Time
	// Caller names who makes a call.
	Caller func(context.Context) string
	// Ports are all kinds of record in import order: what is referred to before what refers to it.
	Ports []records.Port
}

// Server answers ExchangeService.
type Server struct {
	exchangev1.UnsafeExchangeServiceServer
	deps Deps
}

var _ exchangev1.ExchangeServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Mint == nil || d.Now == nil || d.Caller == nil || len(d.Ports) == 0 {
		panic("exchange.NewServer: all dependencies are required")
	}
	return &Server{deps: d}
}

// ListKinds lists the kinds of record.
func (s *Server) ListKinds(context.Context, *exchangev1.ListKindsRequest) (*exchangev1.ListKindsResponse, error) {
	out := &exchangev1.ListKindsResponse{}
	for _, p := range s.deps.Ports {
		out.Kinds = append(out.Kinds, kindToProto(p))
	}
	return out, nil
}

// ReadTemplate gives an empty file of one kind.
func (s *Server) ReadTemplate(_ context.Context, req *exchangev1.ReadTemplateRequest) (*exchangev1.ReadTemplateResponse, error) {
	p := port(s.deps.Ports, req.GetKind())
	if p == nil {
		return nil, s.kindUnknown("kind", req.GetKind())
	}
	format := formatOr(req.GetFormat())
	var buffer bytes.Buffer
	if err := sheet.Template(&buffer, format, p.Kind); err != nil {
		return nil, fmt.Errorf("make the template of %s: %w", p.Kind.Name, err)
	}
	return &exchangev1.ReadTemplateResponse{Name: p.Kind.Name + "." + format, Content: buffer.Bytes()}, nil
}

// Import takes files in.
func (s *Server) Import(req *exchangev1.ImportRequest, stream grpc.ServerStreamingServer[exchangev1.ImportResponse]) error {
	files, settings, err := importFromProto(req)
	if err != nil {
		return err
	}
	tell := func(p Progress) {
		// A lost listener shows as a cancelled context, which ends the import; the error of a single report adds nothing.
		_ = stream.Send(&exchangev1.ImportResponse{Kind: p.Kind, Phase: p.Phase, RowsDone: int32(p.Done), Rows: int32(p.Of)})
	}
	report, err := s.Take(stream.Context(), files, settings, tell)
	if err != nil {
		return err
	}
	return stream.Send(&exchangev1.ImportResponse{Phase: "done", Report: reportToProto(report)})
}

// Take imports files in one transaction and says what came of it.
func (s *Server) Take(ctx context.Context, files []File, settings Settings, tell func(Progress)) (Report, error) {
	if len(files) == 0 {
		return Report{}, apperr.InvalidField("files", "there is no file", "send at least one")
	}
	read, err := readFiles(ctx, s.deps.Ports, files, settings, tell)
	if err != nil {
		return Report{}, err
	}
	in := records.Intake{Mint: s.deps.Mint, Now: s.deps.Now().UTC().Truncate(time.Microsecond), By: s.deps.Caller(ctx)}
	return take(ctx, s.deps.Pool, s.deps.Ports, in, read, settings, tell)
}

// refused turns what the database refused into words: what rows can break was told with their lines before, so this is for what
// only the database saw, such as a record that somebody else changed meanwhile. The constraints are named after what they keep.
func refused(err error) error {
	name, _ := postgres.Constraint(err)
	if name == "" {
		return fmt.Errorf("import: %w", err)
	}
	return apperr.Conflictf("RECORDS_CLASH", "nothing was imported: the rows break the rule %q, among themselves or with what is there already. "+
		"Import again, as somebody may have changed records meanwhile; if it comes again, look for two rows about the same thing on the same days",
		strings.ReplaceAll(name, "_", " ")).Because(err)
}

// Export gives records out.
func (s *Server) Export(req *exchangev1.ExportRequest, stream grpc.ServerStreamingServer[exchangev1.ExportResponse]) error {
	kinds := req.GetKinds()
	for _, name := range kinds {
		if port(s.deps.Ports, name) == nil {
			return s.kindUnknown("kinds", name)
		}
	}
	files, err := s.Give(stream.Context(), kinds, formatOr(req.GetFormat()))
	if err != nil {
		return err
	}
	const piece = 1 << 20
	for _, f := range files {
		for part := range slices.Chunk(f.Content, piece) {
			if err := stream.Send(&exchangev1.ExportResponse{Name: f.Name, Content: part}); err != nil {
				return err
			}
		}
	}
	return nil
}

// Give writes records as files from one snapshot: a CSV file for each kind, or one workbook with a sheet for each. No kinds
// means all.
func (s *Server) Give(ctx context.Context, kinds []string, format string) ([]File, error) {
	var all []sheet.KindRecords
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		all = nil
		for _, p := range s.deps.Ports {
			if len(kinds) > 0 && !slices.Contains(kinds, p.Kind.Name) {
				continue
			}
			cells, err := p.List(ctx, tx)
			if err != nil {
				return fmt.Errorf("export %s: %w", p.Kind.Name, err)
			}
			all = append(all, sheet.KindRecords{Kind: p.Kind, Records: cells})
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if format == "xlsx" && len(all) != 1 {
		var buffer bytes.Buffer
		err := sheet.WriteBook(&buffer, all)
		return []File{{Name: "longlead.xlsx", Content: buffer.Bytes()}}, err
	}
	files := make([]File, len(all))
	for i, one := range all {
		var buffer bytes.Buffer
		if err := sheet.Write(&buffer, format, one.Kind, one.Records); err != nil {
			return nil, fmt.Errorf("write %s: %w", one.Kind.Name, err)
		}
		files[i] = File{Name: one.Kind.Name + "." + format, Kind: one.Kind.Name, Content: buffer.Bytes()}
	}
	return files, nil
}

func (s *Server) kindUnknown(field, name string) error {
	return apperr.InvalidField(field, fmt.Sprintf("%q is no kind of record", name), "use one of "+kindNames(s.deps.Ports))
}

// formatOr is csv when no format is asked for.
func formatOr(format string) string {
	if format == "" {
		return "csv"
	}
	return format
}

// rejectedName puts the rejected rows beside their file, in its format: requests.csv gives requests.rejected.csv, and the sheet
// dogs of school.xlsx gives school.dogs.rejected.xlsx.
func rejectedName(t sheet.Table) (name, format string) {
	name = t.File
	if t.Sheet != "" {
		name = strings.TrimSuffix(name, " sheet "+t.Sheet)
	}
	ext := path.Ext(name)
	name = strings.TrimSuffix(name, ext)
	if name+ext != t.File && !strings.EqualFold(path.Base(name), t.Kind.Name) {
		name += "." + t.Kind.Name
	}
	format = "csv"
	if t.Sheet != "" {
		format = "xlsx"
	}
	return name + ".rejected." + format, format
}
