package consoletest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

// ImportFlow sends a list with faults, mends it on the page, and takes it, as who may write records does; what the page shows is held against the
// database at each step.
func ImportFlow(t testing.TB, s *School, b *Browser) {
	t.Helper()
	// kept is what the database has of the list, by code: name and address.
	kept := func() map[string][]string {
		got, err := exchangev1.NewExchangeServiceClient(s.Conn).ListRecords(t.Context(), &exchangev1.ListRecordsRequest{Kind: "owners", Find: "MEND-"})
		require.NoError(t, err)
		all := map[string][]string{}
		for _, r := range got.GetRecords() {
			all[r.GetKey()] = r.GetCells()[1:3]
		}
		return all
	}
	b.Open(t, "/import")
	b.ChooseFiles(t, map[string]string{"owners-new.csv": "code,name,email,phone\nMEND-1,Ann Moor,,\nMEND-2,,,\nMEND-3,Cy Fell,cy at home,\nMEND-4,Di Tarn,,\n"})
	b.Click(t, "form.card button")
	b.Await(t, "the faults are shown", `document.querySelectorAll("tr.faulty").length === 2`)
	require.Contains(t, b.Text(t, "h1"), "something has to be mended")
	require.Contains(t, b.Text(t, "tr.why"), "Has no value")
	require.Empty(t, kept(), "nothing was taken")
	b.JudgeSizes(t, "import-faults")
	b.Fill(t, `input[aria-label="name of line 3"]`, "Bo Ghyll")
	b.Click(t, `button[value="check"]`)
	b.Await(t, "one fault is left", `document.querySelectorAll("tr.faulty").length === 1`)
	require.Contains(t, b.Text(t, ".lead"), "1 cell is mended here")
	require.Empty(t, kept(), "still nothing was taken")
	b.Fill(t, `input[aria-label="email of line 4"]`, "cy@example.org")
	b.Click(t, `button[value="take"]`)
	b.Await(t, "it is taken", `document.querySelector("h1").innerText === "Taken"`)
	require.Equal(t, "4", b.Text(t, "dl.figures dd"))
	require.Equal(t, map[string][]string{"MEND-1": {"Ann Moor", ""}, "MEND-2": {"Bo Ghyll", ""}, "MEND-3": {"Cy Fell", "cy@example.org"}, "MEND-4": {"Di Tarn", ""}}, kept())
}

// ChooseFiles chooses files in the page's field for them, as a person does.
func (b *Browser) ChooseFiles(t testing.TB, files map[string]string) {
	t.Helper()
	var script strings.Builder
	script.WriteString("{const all = new DataTransfer();")
	for name, content := range files {
		fmt.Fprintf(&script, "all.items.add(new File([%q], %q));", content, name)
	}
	script.WriteString(`document.querySelector("input[type=file]").files = all.files; true}`)
	require.True(t, Evaluate[bool](t, b, script.String()))
}
