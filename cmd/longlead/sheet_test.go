package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestSheetsAndFeedsOnTheCommandLine(t *testing.T) {
	t.Parallel()
	db, dir := database(t), t.TempDir()
	must(t, "import", db, scenarioDir)
	at := []string{"--site", "DRUM", "--date", "2027-03-04", db}
	sheet := func(more ...string) []string { return append(append([]string{"sheet"}, more...), at...) }
	early := call(t, sheet()...)
	require.Equal(t, exitRefused, early.code)
	require.Contains(t, early.err, "longlead day plan --site DRUM --date 2027-03-04")
	must(t, append([]string{"day", "plan", "--seconds", "0.3"}, at...)...)

	text := must(t, sheet()...)
	requireNarrow(t, text)
	require.Contains(t, text, "LOTTE, Lotte Abernethy: Drumlow Field, Thursday 2027-03-04")
	require.Contains(t, text, "Before you touch a dog:")
	require.NotContains(t, must(t, sheet("--trainer", "INGA")...), "Lotte Abernethy")
	require.Contains(t, must(t, sheet("--rows")...), "Row E:")
	require.True(t, strings.HasPrefix(must(t, sheet("--row", "C")...), "Row C:"))
	for _, args := range [][]string{sheet("--json"), sheet("--format", "json")} {
		var got struct {
			Sheet struct{ Trainers, Rows, Dogs []any }
		}
		require.NoError(t, json.Unmarshal([]byte(must(t, args...)), &got))
		require.NotEmpty(t, got.Sheet.Trainers)
		require.NotEmpty(t, got.Sheet.Rows)
		require.NotEmpty(t, got.Sheet.Dogs)
	}
	require.Contains(t, must(t, sheet("--format", "csv")...), "site,day,sheet,kind,from,to")
	file := filepath.Join(dir, "sheets.html")
	require.Empty(t, must(t, sheet("--format", "html", "--paper", "Letter", "-o", file)...))
	page, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Contains(t, string(page), "size: letter portrait")
	info, err := os.Stat(file)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "it holds personal data")

	for _, wrong := range []struct{ args, says string }{{"sheet --site DRUM", "--date"}, {"sheet --site X --date 2027-03-04 --paper A3", "paper"},
		{"sheet --site X --date 2027-03-04 --row A --rows", "can't be used together"}, {"feed new", "--trainer"}, {"feed revoke", "<id>"}} {
		r := call(t, strings.Fields(wrong.args)...)
		require.Equal(t, exitUsage, r.code, wrong.args)
		require.Contains(t, r.out+r.err, wrong.says)
	}
	nowhere := call(t, sheet("-o", filepath.Join(dir, "none", "sheets.txt"))...)
	require.Equal(t, exitUsage, nowhere.code)

	require.Contains(t, must(t, "feed", "list", db), "longlead feed new --trainer CODE")
	made := must(t, "feed", "new", "--trainer", "INGA", db)
	path := regexp.MustCompile(`/feeds/[A-Z2-7]{26}\.ics`).FindString(made)
	require.NotEmpty(t, path)
	id := regexp.MustCompile(`Feed (\S+) of INGA`).FindStringSubmatch(made)[1]
	list := must(t, "feed", "list", db)
	requireNarrow(t, list)
	require.Contains(t, list, id)
	require.Contains(t, list, "never")
	require.NotContains(t, list, strings.TrimPrefix(path, "/feeds/"), "an address is told once")
	require.Contains(t, must(t, "feed", "revoke", id, db), "is shut")
	require.Regexp(t, id+`.*\d{4}-\d{2}-\d{2} \d{2}:\d{2}Z by `, must(t, "feed", "list", "--trainer", "INGA", db))
	require.Equal(t, exitRefused, call(t, "feed", "new", "--trainer", "NOBODY", db).code)
	require.True(t, json.Valid([]byte(must(t, "feed", "new", "--trainer", "INGA", "--json", db))))
}
