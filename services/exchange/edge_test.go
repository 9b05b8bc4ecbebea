package exchange_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/rpc"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

// client calls the school's server over gRPC, in process.
func (s school) client(t *testing.T) exchangev1.ExchangeServiceClient {
	t.Helper()
	tokens := &rpc.Tokens{}
	require.NoError(t, tokens.Add("manager", "manager", "secret"))
	edge, err := rpc.NewServer(slog.New(slog.DiscardHandler), tokens, rpc.Register{
		GRPC: func(r grpc.ServiceRegistrar) { exchangev1.RegisterExchangeServiceServer(r, s.Server) }, HTTP: exchangev1.RegisterExchangeServiceHandler})
	require.NoError(t, err)
	t.Cleanup(func() { edge.Stop(time.Second) })
	conn, err := edge.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials("secret")))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return exchangev1.NewExchangeServiceClient(conn)
}

// importing reads the stream of an import to its end.
func importing(t *testing.T, client exchangev1.ExchangeServiceClient, req *exchangev1.ImportRequest) (progress []*exchangev1.ImportResponse, report *exchangev1.ImportReport, err error) {
	t.Helper()
	stream, err := client.Import(t.Context(), req)
	require.NoError(t, err)
	for {
		event, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return progress, report, nil
		}
		if err != nil {
			return progress, nil, err
		}
		require.Nil(t, report, "the report is the last message")
		if report = event.GetReport(); report == nil {
			progress = append(progress, event)
		}
	}
}

func toProto(files []exchange.File) []*exchangev1.ImportFile {
	var out []*exchangev1.ImportFile
	for _, f := range files {
		out = append(out, &exchangev1.ImportFile{Name: f.Name, Kind: f.Kind, Content: f.Content})
	}
	return out
}

func TestFilesGoInAndOutOverTheWire(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	client := s.client(t)
	progress, report, err := importing(t, client, &exchangev1.ImportRequest{Files: toProto(scenariotest.Files(t))})
	require.NoError(t, err)
	require.True(t, report.GetImported())
	require.Len(t, report.GetFiles(), len(allPorts()))
	require.Equal(t, "reading", progress[0].GetPhase())
	last := progress[len(progress)-1]
	require.Equal(t, "writing sessions 379 of 379", fmt.Sprintf("%s %s %d of %d", last.GetPhase(), last.GetKind(), last.GetRowsDone(), last.GetRows()))

	for _, format := range []string{"", "csv", "xlsx"} {
		want := s.give(t, max(format, "csv"))
		stream, err := client.Export(t.Context(), &exchangev1.ExportRequest{Format: format})
		require.NoError(t, err)
		got := map[string][]byte{}
		for {
			piece, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err)
			got[piece.GetName()] = append(got[piece.GetName()], piece.GetContent()...)
		}
		require.Len(t, got, len(want))
		for _, f := range want {
			require.Len(t, got[f.Name], len(f.Content), f.Name)
			// The parts of a workbook come in any order.
			require.True(t, format == "xlsx" || bytes.Equal(f.Content, got[f.Name]), f.Name)
		}
	}
}

func TestFaultsGoOverTheWireWhole(t *testing.T) {
	t.Parallel()
	_, report, err := importing(t, newSchool(t).client(t), &exchangev1.ImportRequest{SkipBad: true, Dates: "dmy", Files: []*exchangev1.ImportFile{
		{Name: "march.csv", Kind: "owners", Content: []byte(ownersHead + ",shoes\nANN,Ann,,,9\nBEN,,,,\n")}}})
	require.NoError(t, err)
	require.True(t, report.GetImported())
	f := report.GetFiles()[0]
	require.Equal(t, []int32{2, 1, 1}, []int32{f.GetRows(), f.GetTaken(), f.GetRejected()})
	require.Equal(t, []string{"column 'shoes' is not known and was not read"}, f.GetNotes())
	require.Equal(t, "march.rejected.csv", f.GetRejectedName())
	require.Contains(t, string(f.GetRejectedContent()), "BEN")
	require.Len(t, report.GetFaults(), 1)
	fault := report.GetFaults()[0]
	require.Equal(t, []any{"march.csv", int32(3), "name", "has no value", "fill it in, for example Sam Lowe"},
		[]any{fault.GetFile(), fault.GetLine(), fault.GetColumn(), fault.GetRule(), fault.GetRemedy()})
}

func TestKindsAndTemplatesOverTheWire(t *testing.T) {
	t.Parallel()
	client := newSchool(t).client(t)
	kinds, err := client.ListKinds(t.Context(), &exchangev1.ListKindsRequest{})
	require.NoError(t, err)
	require.Len(t, kinds.GetKinds(), len(allPorts()))
	for i, k := range kinds.GetKinds() {
		require.Equal(t, allPorts()[i].Kind.Name, k.GetName(), "in import order")
		require.Len(t, k.GetColumns(), len(allPorts()[i].Kind.Columns))
		for _, format := range []string{"", "csv", "xlsx"} {
			template, err := client.ReadTemplate(t.Context(), &exchangev1.ReadTemplateRequest{Kind: k.GetName(), Format: format})
			require.NoError(t, err)
			require.Equal(t, k.GetName()+"."+max(format, "csv"), template.GetName())
			require.NotEmpty(t, template.GetContent())
		}
	}
}

func TestCallsThatCannotBeAnswered(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	client := s.client(t)
	good := []*exchangev1.ImportFile{{Name: "owners.csv", Content: []byte(ownersHead + "\n")}}
	for name, req := range map[string]*exchangev1.ImportRequest{
		"no file":        {},
		"a file unnamed": {Files: []*exchangev1.ImportFile{{Content: []byte("x")}}},
		"date order":     {Files: good, Dates: "ymd"},
	} {
		_, _, err := importing(t, client, req)
		require.Equal(t, codes.InvalidArgument, status.Code(err), name)
	}
	_, err := client.ReadTemplate(t.Context(), &exchangev1.ReadTemplateRequest{Kind: "cats"})
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	require.ErrorContains(t, err, "request-sites", "it says which kinds there are")
	_, err = client.ReadTemplate(t.Context(), &exchangev1.ReadTemplateRequest{Kind: "dogs", Format: "pdf"})
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	for _, req := range []*exchangev1.ExportRequest{{Kinds: []string{"cats"}}, {Format: "pdf"}} {
		stream, err := client.Export(t.Context(), req)
		require.NoError(t, err)
		_, err = stream.Recv()
		require.Equal(t, codes.InvalidArgument, status.Code(err))
	}
}

// TestACallerWhoHangsUpImportsNothing hangs up at the first report of writing.
func TestACallerWhoHangsUpImportsNothing(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	before := s.contents(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	stream, err := s.client(t).Import(ctx, &exchangev1.ImportRequest{Files: toProto(scenariotest.Files(t))})
	require.NoError(t, err)
	for {
		event, err := stream.Recv()
		require.NoError(t, err)
		if event.GetPhase() == "writing" {
			break
		}
	}
	cancel()
	_, err = stream.Recv()
	for err == nil {
		_, err = stream.Recv()
	}
	require.Equal(t, codes.Canceled, status.Code(err))
	// The next import waits for the one before to be rolled back.
	require.True(t, s.take(t, exchange.Settings{}, file("areas.csv", "site,area,kind,dogs_at_once")).Imported)
	require.Equal(t, before, s.contents(t))
}
