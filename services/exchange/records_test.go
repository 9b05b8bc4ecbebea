package exchange_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/sheet"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

// TestEveryRecordIsFoundByItsKey reads what was listed, for each kind, and the codes that its columns refer to.
func TestEveryRecordIsFoundByItsKey(t *testing.T) {
	t.Parallel()
	s := newSchool(t).full(t)
	kinds, err := s.ListKinds(t.Context(), &exchangev1.ListKindsRequest{})
	require.NoError(t, err)
	require.Greater(t, len(kinds.GetKinds()), 25)
	for _, kind := range kinds.GetKinds() {
		list, err := s.ListRecords(t.Context(), &exchangev1.ListRecordsRequest{Kind: kind.GetName(), Limit: 3, Offset: 1})
		require.NoError(t, err)
		require.LessOrEqual(t, len(list.GetRecords()), 3)
		for _, r := range list.GetRecords() {
			require.NotEmpty(t, r.GetKey(), kind.GetName())
			one, err := s.ReadRecord(t.Context(), &exchangev1.ReadRecordRequest{Kind: kind.GetName(), Key: r.GetKey()})
			require.NoError(t, err, "%s %s", kind.GetName(), r.GetKey())
			require.Equal(t, r.GetCells(), one.GetRecord().GetCells())
			require.Len(t, r.GetCells(), len(kind.GetColumns()))
		}
		empty, err := s.ReadRecord(t.Context(), &exchangev1.ReadRecordRequest{Kind: kind.GetName()})
		require.NoError(t, err)
		require.Nil(t, empty.GetRecord())
		for _, c := range kind.GetColumns() {
			offered := false
			for _, codes := range empty.GetCodes() {
				offered = offered || codes.GetColumn() == c.GetName() && len(codes.GetCodes()) > 0
			}
			require.Equal(t, c.GetRefers() != "", offered, "%s %s", kind.GetName(), c.GetName())
		}
	}
}

func TestRecordsAreFoundByWordsAndPages(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.take(t, exchange.Settings{}, file("owners.csv", "code,name", "A-B,Ann", "B,Bob <i>", "C,Cy bobsen"))
	list := func(find string, limit, offset int32) (keys []string, matching int32) {
		got, err := s.ListRecords(t.Context(), &exchangev1.ListRecordsRequest{Kind: "owners", Find: find, Limit: limit, Offset: offset})
		require.NoError(t, err)
		require.Equal(t, int32(3), got.GetAll())
		for _, r := range got.GetRecords() {
			keys = append(keys, r.GetKey())
		}
		return keys, got.GetMatching()
	}
	keys, n := list("BOB", 0, 0)
	require.Equal(t, []string{"B", "C"}, keys)
	require.Equal(t, int32(2), n)
	keys, n = list("bob", 1, 1)
	require.Equal(t, []string{"C"}, keys)
	require.Equal(t, int32(2), n)
	keys, _ = list("", 1, 0)
	require.Equal(t, []string{"A-B"}, keys)
	one, err := s.ReadRecord(t.Context(), &exchangev1.ReadRecordRequest{Kind: "owners", Key: keys[0]})
	require.NoError(t, err)
	require.Equal(t, "Ann", one.GetRecord().GetCells()[1])
	_, err = s.ReadRecord(t.Context(), &exchangev1.ReadRecordRequest{Kind: "owners", Key: "A"})
	require.ErrorIs(t, err, apperr.NotFound)
	_, err = s.ListRecords(t.Context(), &exchangev1.ListRecordsRequest{Kind: "cats"})
	require.ErrorIs(t, err, apperr.Invalid)

	codes, err := s.FindCodes(t.Context(), &exchangev1.FindCodesRequest{Kind: "owners", Find: "b"})
	require.NoError(t, err)
	require.Equal(t, []string{"A-B", "B"}, codes.GetCodes())
	_, err = s.FindCodes(t.Context(), &exchangev1.FindCodesRequest{Kind: "work-rules"})
	require.ErrorIs(t, err, apperr.Invalid, "nothing refers to it")
}

// TestAFileIsMendedCellByCell shows what is wrong where it stands, takes mends of it, and gives the file back with them.
func TestAFileIsMendedCellByCell(t *testing.T) {
	t.Parallel()
	for _, format := range []string{"csv", "xlsx"} {
		t.Run(format, func(t *testing.T) {
			t.Parallel()
			s := newSchool(t)
			f := ownersFile(t, format)
			report := s.take(t, exchange.Settings{ShowRows: 10}, f)
			require.False(t, report.Imported)
			of := report.Files[0]
			require.Equal(t, []string{"code", "name", "email", "phone", "zone"}, of.Header)
			var lines []int
			for _, row := range of.Shown {
				lines = append(lines, row.Line)
				switch row.Line {
				case 3:
					require.Equal(t, []int{1}, row.At, "the name is missing")
				case 5:
					require.Equal(t, []int{2}, row.At, "an address")
				default:
					require.Empty(t, row.Faults, "stands beside")
				}
			}
			require.Equal(t, []int{2, 3, 4, 5, 6}, lines)
			require.Equal(t, 2, of.Rejected)

			few := s.take(t, exchange.Settings{ShowRows: 1}, f)
			require.Len(t, few.Files[0].Shown, 3, "one faulty row and those around it")
			require.Len(t, few.Faults, 2, "all faults are told")

			mends := []sheet.Mend{{Sheet: of.Sheet, Line: 3, Cell: 1, Value: "Bo Ash"}, {Sheet: of.Sheet, Line: 5, Cell: 2, Value: "dee@example.org"},
				{Sheet: "another sheet", Line: 2, Cell: 1, Value: "nobody"}}
			f.Mends = mends[:1]
			require.Len(t, s.take(t, exchange.Settings{}, f).Faults, 1, "the other fault is still there")
			f.Mends = mends
			report = s.take(t, exchange.Settings{}, f)
			require.Empty(t, report.Faults)
			require.True(t, report.Imported)
			exported := s.text(t, "owners")
			require.Contains(t, exported, "B,Bo Ash,")
			require.Contains(t, exported, "D,Dee,dee@example.org")
			require.NotContains(t, exported, "nobody")

			asked := &exchangev1.ImportFile{Name: f.Name, Content: f.Content}
			for _, m := range mends {
				asked.Mends = append(asked.Mends, &exchangev1.Mend{Sheet: m.Sheet, Line: int32(m.Line), Cell: int32(m.Cell), Value: m.Value})
			}
			whole, err := s.MendFile(t.Context(), &exchangev1.MendFileRequest{File: asked, Sheet: of.Sheet})
			require.NoError(t, err)
			require.Equal(t, "owners.mended."+format, whole.GetName())
			again := newSchool(t)
			report = again.take(t, exchange.Settings{}, exchange.File{Name: "owners." + format, Content: whole.GetContent()})
			require.Empty(t, report.Faults)
			require.Equal(t, exported, again.text(t, "owners"), "the mended file is as good as the mends")
		})
	}
}

func ownersFile(t *testing.T, format string) exchange.File {
	t.Helper()
	rows := [][]string{{"A", "Ann", "", "", ""}, {"B", "", "", "", ""}, {"C", "=Cy", "", "", ""}, {"D", "Dee", "dee at home", "", ""}, {"E", "Eve", "", "", ""}}
	if format == "csv" {
		lines := []string{"code,name,email,phone,zone"}
		for _, r := range rows {
			lines = append(lines, strings.Join(r, ","))
		}
		return file("owners.csv", lines...)
	}
	kind := sheet.Kind{Name: "owners"}
	for _, name := range []string{"code", "name", "email", "phone", "zone"} {
		kind.Columns = append(kind.Columns, sheet.Column{Name: name})
	}
	var b strings.Builder
	require.NoError(t, sheet.Write(&b, "xlsx", kind, rows))
	return exchange.File{Name: "owners.xlsx", Content: []byte(b.String())}
}

func TestARowMendedToNothingIsLeftOut(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	f := file("owners.csv", "code,name", "A,Ann", "B,,too much", "C,Cy")
	f.Mends = []sheet.Mend{{Line: 3, Cell: 0}, {Line: 3, Cell: 1}, {Line: 3, Cell: 2}}
	report := s.take(t, exchange.Settings{}, f)
	require.Empty(t, report.Faults)
	require.Equal(t, 2, report.Files[0].Taken)
	f = file("owners.csv", "code,name,phone", "F,short", "G,Gus,1")
	f.Mends = []sheet.Mend{{Line: 2, Cell: 2, Value: "555"}}
	require.Empty(t, s.take(t, exchange.Settings{}, f).Faults, "a row that was too short has its cells now")
}
