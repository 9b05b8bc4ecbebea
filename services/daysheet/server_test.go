package daysheet_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"io"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/rpc"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

func TestRequestsThatMakeNoSense(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.keepFixed(t, goldenDay)
	for _, tc := range []struct {
		name string
		req  *daysheetv1.GetDaySheetRequest
		code codes.Code
		says string
	}{
		{"no site", &daysheetv1.GetDaySheetRequest{Day: goldenDay}, codes.InvalidArgument, "site_code"},
		{"unknown site", &daysheetv1.GetDaySheetRequest{SiteCode: "MOON", Day: goldenDay}, codes.NotFound, "MOON"},
		{"no day", &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: "tomorrow"}, codes.InvalidArgument, "day"},
		{"day without a plan", &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: "2027-03-05"}, codes.FailedPrecondition, "longlead day plan --site DRUM --date 2027-03-05"},
		{"trainer and row", &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: goldenDay, TrainerCode: "LOTTE", Row: "A"}, codes.InvalidArgument, "row"},
		{"trainer among rows", &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: goldenDay, TrainerCode: "LOTTE", Sheets: daysheetv1.Sheets_SHEETS_ROWS}, codes.InvalidArgument, "trainer_code"},
		{"row among trainers", &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: goldenDay, Row: "A", Sheets: daysheetv1.Sheets_SHEETS_TRAINERS}, codes.InvalidArgument, "row"},
		{"trainer of another site", &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: goldenDay, TrainerCode: "NOOR"}, codes.NotFound, "NOOR"},
		{"row without dogs", &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: goldenDay, Row: "Z"}, codes.NotFound, `"Z"`},
		{"unknown sheets", &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: goldenDay, Sheets: 7}, codes.InvalidArgument, "sheets"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := s.sheets["viewer"].GetDaySheet(t.Context(), tc.req)
			require.Equal(t, tc.code, status.Code(err), "%v", err)
			require.ErrorContains(t, err, tc.says)
		})
	}
}

func TestSomeSheetsOfADay(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.keepFixed(t, goldenDay)
	read := func(req *daysheetv1.GetDaySheetRequest) *daysheetv1.DaySheet {
		req.SiteCode, req.Day = "DRUM", goldenDay
		got, err := s.sheets["trainer"].GetDaySheet(t.Context(), req)
		require.NoError(t, err)
		return got.GetSheet()
	}
	all := read(&daysheetv1.GetDaySheetRequest{})
	require.Greater(t, len(all.GetTrainers()), 2)
	require.Greater(t, len(all.GetRows()), 2)
	require.True(t, all.GetStale(), "the plan was made from something else")

	one := read(&daysheetv1.GetDaySheetRequest{TrainerCode: "LOTTE"})
	require.Len(t, one.GetTrainers(), 1)
	require.Empty(t, one.GetRows())
	require.Len(t, one.GetDogs(), len(one.GetTrainers()[0].GetDogCodes()), "no other dog is told of")
	require.Equal(t, []string{"D-002", "D-003", "D-011", "D-032", "D-064"}, one.GetTrainers()[0].GetDogCodes())
	require.Len(t, one.GetTrainers()[0].GetDrops(), 1)

	row := read(&daysheetv1.GetDaySheetRequest{Row: "C"})
	require.Empty(t, row.GetTrainers())
	require.Len(t, row.GetRows(), 1)
	require.Equal(t, []string{"D-064", "D-059", "D-002"}, row.GetRows()[0].GetDogCodes(), "C2, C3, C5")
	last := row.GetRows()[0].GetLines()[len(row.GetRows()[0].GetLines())-1]
	require.Equal(t, "handover", last.GetKind())
	require.Empty(t, last.GetTrainerCode(), "nobody can do it, and the row says so")
}

// TestContactsTakePermissionToReadRecords: without it there is no telephone number and no owner in anything.
func TestContactsTakePermissionToReadRecords(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.keepFixed(t, goldenDay)
	without := rpc.WithCaller(t.Context(), rpc.Caller{Name: "screen", Permissions: []accessv1.Permission{accessv1.Permission_PERMISSION_READ_PLANS}})
	with := rpc.WithCaller(t.Context(), rpc.Caller{Name: "lead", Permissions: []accessv1.Permission{accessv1.Permission_PERMISSION_READ_PLANS, accessv1.Permission_PERMISSION_READ_RECORDS}})
	phone := regexp.MustCompile(`555-\d{4}`)
	all := func(ctx context.Context) (out string) {
		data, err := s.server.GetDaySheet(ctx, &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: goldenDay})
		require.NoError(t, err)
		text, err := json.Marshal(data)
		require.NoError(t, err)
		out = string(text)
		for format := range daysheetv1.PrintDaySheetRequest_Format_name {
			for which := range daysheetv1.Sheets_name {
				got, err := s.server.PrintDaySheet(ctx, &daysheetv1.PrintDaySheetRequest{SiteCode: "DRUM", Day: goldenDay, Format: daysheetv1.PrintDaySheetRequest_Format(format), Sheets: daysheetv1.Sheets(which)})
				require.NoError(t, err)
				out += string(got.GetContent())
			}
		}
		return out
	}
	require.Regexp(t, phone, all(with))
	require.Contains(t, all(with), "Freya Kahale")
	hidden := all(without)
	require.NotRegexp(t, phone, hidden)
	for _, o := range fileOf(t, "owners.csv") {
		require.NotContains(t, hidden, o["name"])
	}
	require.Contains(t, hidden, "left out")
	require.Contains(t, hidden, "joint chews", "what keeps dog and people safe is there all the same")
	nobody, err := s.server.GetDaySheet(t.Context(), &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: goldenDay})
	require.NoError(t, err)
	require.True(t, nobody.GetSheet().GetPhonesWithheld(), "outside of a call nobody may")
}

// TestNothingOnASheetIsCode gives dogs names and notes that a browser or a spreadsheet program would run.
func TestNothingOnASheetIsCode(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	const name, note, formula = `<script>alert(1)</script>`, `"><img src=x onerror=alert(1)> & so on`, `=HYPERLINK("http://x.example","y")`
	dogs := fileOf(t, "dogs.csv")
	header := []string{"code", "owner", "name", "breed", "breed_tier", "hound", "sex", "born", "weight_kg", "length_mm", "height_mm", "bite_level", "season_started", "note"}
	var file bytes.Buffer
	out := csv.NewWriter(&file)
	require.NoError(t, out.Write(header))
	for _, d := range dogs {
		switch d["code"] {
		case "D-064":
			d["name"], d["note"] = name, note
		case "D-002":
			d["name"], d["note"] = "'"+formula, "'@SUM(1)"
		default:
			continue
		}
		cells := make([]string, len(header))
		for i, h := range header {
			cells[i] = d[h]
		}
		require.NoError(t, out.Write(cells))
	}
	out.Flush()
	s.take(t, exchange.File{Name: "dogs.csv", Content: file.Bytes()},
		exchange.File{Name: "vets.csv", Content: []byte("dog,name,phone\nD-064,\"<b onclick=x()>\",javascript:alert(1)\n")})
	s.keepFixed(t, goldenDay)

	for _, which := range []daysheetv1.Sheets{daysheetv1.Sheets_SHEETS_TRAINERS, daysheetv1.Sheets_SHEETS_ROWS} {
		page := s.print(t, &daysheetv1.PrintDaySheetRequest{SiteCode: "DRUM", Day: goldenDay, Format: daysheetv1.PrintDaySheetRequest_FORMAT_HTML, Sheets: which})
		tags, texts := partsOf(t, page)
		for _, no := range []string{"script", "img", "iframe", "object", "form", "input", "link"} {
			require.NotContains(t, tags, no)
		}
		require.Contains(t, texts, name, "it is there as text")
		require.Contains(t, texts, note)
		require.NotContains(t, page, "href=\"javascript")
		require.Contains(t, page, `href="tel:1"`, "what is no number is no more than its digits")

		table := s.print(t, &daysheetv1.PrintDaySheetRequest{SiteCode: "DRUM", Day: goldenDay, Format: daysheetv1.PrintDaySheetRequest_FORMAT_CSV, Sheets: which})
		rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(table, "\ufeff"))).ReadAll()
		require.NoError(t, err)
		seen := false
		for _, row := range rows {
			for _, cell := range row {
				require.NotRegexp(t, `^[=@+\-]`, cell)
				seen = seen || cell == "'"+formula
			}
		}
		require.True(t, seen)
	}
}

// partsOf reads a page with a parser of its own: the elements in it, all text, and no attribute that runs anything.
func partsOf(t *testing.T, page string) (tags []string, texts string) {
	t.Helper()
	z := html.NewTokenizer(strings.NewReader(page))
	var b strings.Builder
	for {
		switch z.Next() {
		case html.ErrorToken:
			require.ErrorIs(t, z.Err(), io.EOF)
			return tags, b.String()
		case html.StartTagToken, html.SelfClosingTagToken:
			token := z.Token()
			tags = append(tags, token.Data)
			for _, a := range token.Attr {
				require.False(t, strings.HasPrefix(a.Key, "on") || a.Key == "style" || a.Key == "src", "%s %s", token.Data, a.Key)
			}
		case html.TextToken:
			b.WriteString(z.Token().Data)
		}
	}
}

func TestThePageOverHTTP(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.keepFixed(t, goldenDay)
	path := "/sheets/DRUM/" + goldenDay
	for _, tc := range []struct {
		name, role, path string
		code             int
		says             string
	}{
		{"nobody", "", path, 401, "TOKEN_MISSING"},
		{"as it is", "trainer", path, 200, "size: a4 portrait"},
		{"letter", "viewer", path + "?paper=Letter", 200, "size: letter portrait"},
		{"one trainer", "viewer", path + "?trainer=LOTTE", 200, "Sheet of LOTTE"},
		{"rows", "viewer", path + "?by=row", 200, "Sheet of Row C"},
		{"one row", "viewer", path + "?row=C", 200, "Sheet of Row C"},
		{"unknown paper", "viewer", path + "?paper=A3", 400, "paper"},
		{"unknown order", "viewer", path + "?by=dog", 400, "by=row"},
		{"unknown word", "viewer", path + "?papper=A4", 400, "not known"},
		{"not planned", "viewer", "/sheets/DRUM/2027-03-05", 400, "DAY_NOT_PLANNED"},
		{"no site", "viewer", "/sheets/MOON/" + goldenDay, 404, "MOON"},
	} {
		got := s.get(t, tc.role, tc.path, nil)
		require.Equal(t, tc.code, got.Code, "%s %s", tc.name, got.Body)
		require.Contains(t, got.Body.String(), tc.says, tc.name)
		require.Equal(t, "no-store", got.Header().Get("Cache-Control"), "it holds personal data")
		if tc.code == 200 {
			require.Equal(t, "text/html; charset=utf-8", got.Header().Get("Content-Type"))
			requireOneStyle(t, got.Header().Get("Content-Security-Policy"), got.Body.String())
		}
	}
	require.NotContains(t, s.get(t, "viewer", path+"?trainer=LOTTE", nil).Body.String(), "Sheet of INGA")
}

// requireOneStyle holds that the policy lets the page's own style in, by its digest, and nothing else.
func requireOneStyle(t *testing.T, policy, page string) {
	t.Helper()
	require.Equal(t, 1, strings.Count(page, "<style"))
	_, rest, _ := strings.Cut(page, "<style>")
	style, _, _ := strings.Cut(rest, "</style>")
	sum := sha256.Sum256([]byte(style))
	require.Contains(t, policy, "default-src 'none'; style-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
	require.NotContains(t, policy, "unsafe")
	require.NotContains(t, page, " style=")
}

// TestADogInIsolationComesFirst: its sheet says so before anything else, and has the run that it is in; who was near it is watched.
func TestADogInIsolationComesFirst(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.keepFixed(t, goldenDay)
	_, err := s.pool.Exec(t.Context(), `
		with x as (select x.*, d.code from planner.stay x join enrollment.request q on q.id = x.request_id join enrollment.dog d on d.id = q.dog_id),
		ill as (
		  insert into planner.isolation (id, request_id, stay_id, site_id, run_id, days, planned_days, suspected, reason, made_at, made_by)
		  select gen_random_uuid(), x.request_id, x.id, x.site_id, (select r.id from facility.run r where r.site_id = x.site_id and r.isolation order by r.code limit 1),
		    '[2027-03-03,2027-03-13)', '[2027-03-03,2027-03-13)', '', 'coughs', now(), 'test' from x where code = 'D-064' returning id)
		insert into planner.contact_watch (isolation_id, request_id, days, because)
		select ill.id, x.request_id, '[2027-03-03,2027-03-11)', '{lived in the next run}' from ill, x where code = 'D-002'`)
	require.NoError(t, err)
	sheet := s.sheet(t, "DRUM", goldenDay)
	seen := 0
	for _, d := range sheet.GetDogs() {
		first := d.GetCautions()[0]
		switch d.GetCode() {
		case "D-064":
			require.Equal(t, "isolated", first.GetAbout())
			require.NotEqual(t, "C2", d.GetRun())
			require.Contains(t, first.GetText(), "in run "+d.GetRun()+".")
			for _, row := range sheet.GetRows() {
				require.Equal(t, row.GetRow() == d.GetRow(), slices.Contains(row.GetDogCodes(), "D-064"), row.GetRow())
			}
			seen++
		case "D-002":
			require.Equal(t, "watch", first.GetAbout())
			require.Contains(t, first.GetText(), "until 2027-03-10, since it was near a dog that was isolated (lived in the next run)")
			seen++
		default:
			require.Equal(t, "care", first.GetAbout())
		}
	}
	require.Equal(t, 2, seen)
}

// TestATrainersDayAtAnySite: the sheet is that of the site where the trainer works on the day; without a plan there is none, and it is no error.
func TestATrainersDayAtAnySite(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	scenariotest.FillMarch(t, s.pool)
	ask := func(trainer, day string) (*daysheetv1.GetTrainerDayResponse, error) {
		return s.sheets["trainer"].GetTrainerDay(t.Context(), &daysheetv1.GetTrainerDayRequest{TrainerCode: trainer, Day: day})
	}
	got, err := ask("AMINA", "2027-03-09")
	require.NoError(t, err)
	require.Nil(t, got.GetSheet())
	require.Equal(t, []string{"DRUM", "America/Chicago", "Amina Thorne"}, []string{got.GetSiteCode(), got.GetZone(), got.GetTrainerName()})

	s.plan(t, "DRUM", "2027-03-09")
	got, err = ask("AMINA", "2027-03-09")
	require.NoError(t, err)
	require.Len(t, got.GetSheet().GetTrainers(), 1)
	require.Equal(t, "AMINA", got.GetSheet().GetTrainers()[0].GetTrainerCode())
	whole, err := s.sheets["trainer"].GetDaySheet(t.Context(), &daysheetv1.GetDaySheetRequest{SiteCode: "DRUM", Day: "2027-03-09", TrainerCode: "AMINA"})
	require.NoError(t, err)
	require.True(t, proto.Equal(whole.GetSheet(), got.GetSheet()), "the same sheet as by the site")

	// A day on which she does not work.
	got, err = ask("AMINA", "2027-03-11")
	require.NoError(t, err)
	require.Nil(t, got.GetSheet())
	require.Equal(t, []string{"", "America/Chicago"}, []string{got.GetSiteCode(), got.GetZone()})
	_, err = ask("NOBODY", "2027-03-09")
	require.Equal(t, codes.NotFound, status.Code(err))
	_, err = ask("AMINA", "soon")
	require.Equal(t, codes.InvalidArgument, status.Code(err))
}
