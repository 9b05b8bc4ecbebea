package requests_test

import (
	"archive/zip"
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
)

func owners(t *testing.T, s *consoletest.School, like string) (n int) {
	t.Helper()
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select count(*) from enrollment.owner where code like $1`, like).Scan(&n))
	return n
}

func TestTheGoodRowsOnly(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{})
	in := s.As(t, "office")
	page := in.Upload(t, "/import", "/import", map[string][]byte{"owners.csv": []byte("code,name,email\nGR-1,Ann,\nGR-2,,\nGR-3,Cy,<script>alert(1)</script>\nGR-4,Di,\n")})
	require.True(t, strings.HasPrefix(page.Path, "/import/"))
	require.Contains(t, page.Body, "Take the 2 good rows only")
	require.Contains(t, page.Body, `value="&lt;script&gt;alert(1)&lt;/script&gt;"`)
	require.NotContains(t, page.Body, "<script>alert")
	require.Contains(t, in.Get(t, page.Path+"/rejected/0").Body, "line 3: name: has no value")
	require.Zero(t, owners(t, s, "GR-%"))

	// A row that is left out is no fault any more, and the mended file is without it.
	out := in.Post(t, page.Path, page.Path, url.Values{"out.0.3": {"yes"}, "do": {"check"}})
	require.Contains(t, out.Body, "1 with a fault")
	mended := in.Get(t, page.Path+"/mended/0")
	require.Contains(t, mended.Header.Get("Content-Disposition"), "owners.mended.csv")
	require.NotContains(t, mended.Body, "GR-2")
	require.Contains(t, mended.Body, "GR-4,Di")

	// Somebody else sees nothing of it.
	require.Equal(t, http.StatusNotFound, s.As(t, "manager").Get(t, page.Path).Status)
	require.Equal(t, http.StatusForbidden, s.As(t, "viewer").Get(t, page.Path).Status)

	// All or nothing first, then what is good.
	require.Contains(t, in.Post(t, page.Path, page.Path, url.Values{"do": {"take"}}).Body, "something has to be mended")
	require.Zero(t, owners(t, s, "GR-%"))
	done := in.Post(t, page.Path, page.Path, url.Values{"do": {"good"}})
	require.Contains(t, done.Body, "<h1>Taken</h1>")
	require.Equal(t, 2, owners(t, s, "GR-%"))
	require.Contains(t, in.Get(t, page.Path+"/rejected/0").Body, "line 4: email")
	// Sent again by going back, it takes nothing twice.
	require.Equal(t, page.Path, in.Post(t, "/import", page.Path, url.Values{"do": {"good"}}).Path)
	s.SetNow(consoletest.Now.Add(3 * time.Hour))
	gone := in.Get(t, page.Path)
	require.Equal(t, http.StatusNotFound, gone.Status)
	require.Contains(t, gone.Body, "Send them again")
}

func TestThousandsOfFaultsFitIntoAPage(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true})
	in := s.As(t, "office")
	var file strings.Builder
	file.WriteString("code,name,email\n")
	for i := range 30_000 {
		fmt.Fprintf(&file, "M-%d,,%s\n", i, strings.Repeat("x", 100))
	}
	page := in.Upload(t, "/import", "/import", map[string][]byte{"owners.csv": []byte(file.String())})
	require.Eventually(t, func() bool {
		page = in.Get(t, page.Path)
		return !strings.Contains(page.Body, "Looking through the files")
	}, time.Minute, 50*time.Millisecond)
	require.Contains(t, page.Body, "29,950 more rows")
	require.Equal(t, 50, strings.Count(page.Body, `class="faulty"`))
	require.Less(t, len(page.Body), 150<<10)
}

// TestHostileFiles sends what is no list; each is told what it is, nothing is taken, and the server goes on.
func TestHostileFiles(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true})
	in := s.As(t, "office")
	for name, tt := range map[string]struct {
		file    string
		content []byte
		want    string
	}{
		"10 MB of nothing":          {"owners.csv", make([]byte, 10<<20), "is empty"},
		"10 MB of one letter":       {"owners.csv", bytes.Repeat([]byte("x"), 10<<20), ""},
		"a workbook that explodes":  {"owners.xlsx", bomb(t), "unpacks to more than"},
		"a document":                {"owners.csv", []byte("%PDF-1.7 ..."), "PDF"},
		"a web page":                {"owners.csv", []byte("<!doctype html><script>alert(1)</script>"), "web page"},
		"a name that is no list":    {`<img src=x onerror=alert(1)>.csv`, []byte("code\nA\n"), "does not say which records it holds"},
		"a name that leads away":    {"../../etc/owners.csv", []byte("code,name\nUP-1,Ann\n"), ""},
		"a broken quote":            {"owners.csv", []byte("code,name\n\"A,Ann\n"), ""},
		"a workbook of other bytes": {"owners.xlsx", []byte("PK\x03\x04 nothing more"), ""},
	} {
		page := in.Upload(t, "/import", "/import", map[string][]byte{tt.file: tt.content})
		require.Equal(t, http.StatusOK, page.Status, name)
		require.Eventually(t, func() bool {
			page = in.Get(t, page.Path)
			return !strings.Contains(page.Body, "Looking through the files")
		}, time.Minute, 50*time.Millisecond, name)
		require.Contains(t, strings.ToLower(page.Body), strings.ToLower(tt.want), name)
		require.NotContains(t, page.Body, "<img", name)
		require.NotContains(t, page.Body, "<script>alert", name)
		require.Less(t, len(page.Body), 200<<10, name)
	}
	var n int
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select count(*) from enrollment.owner`).Scan(&n))
	require.Zero(t, n)
	none := in.Upload(t, "/import", "/import", nil)
	require.Equal(t, http.StatusUnprocessableEntity, none.Status)
	require.Contains(t, none.Body, "no file was chosen")
}

// bomb is a workbook of a few hundred KB that unpacks to 400 MB.
func bomb(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	f, err := w.Create("xl/worksheets/sheet1.xml")
	require.NoError(t, err)
	zeros := make([]byte, 1<<20)
	for range 400 {
		_, err := f.Write(zeros)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	require.Less(t, b.Len(), 1<<20)
	return b.Bytes()
}
