package daysheet_test

import (
	"encoding/csv"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/testdata/scenario"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

// done is one thing of a plan as the database has it, or as a sheet has it.
type done struct {
	Kind, Trainer, Second, Dog, Area, Skill string
	Session                                 int
	From, To                                time.Time
}

// doneIn reads a day's live plan without the code that makes sheets, and the row of each dog's run.
func (s *school) doneIn(t *testing.T, site, day string) (all []done, rows map[string]string) {
	t.Helper()
	all, err := postgres.List[done](t.Context(), s.pool, "recount", `
		with plan as (select p.id from dayplan.plan p join facility.site s on s.id = p.site_id where s.code = $1 and p.day = $2 and p.state = 'live')
		select 'session' as kind, t.code as trainer, coalesce(z.code, '') as second, d.code as dog, a.code as area, coalesce(k.code, '') as skill, b.session, lower(b.during) as "from", upper(b.during) as "to"
		from dayplan.block b join plan on plan.id = b.plan_id join roster.trainer t on t.id = b.trainer_id join enrollment.dog d on d.id = b.dog_id
		left join roster.trainer z on z.id = b.second_trainer_id join facility.area a on a.id = b.area_id left join training.skill k on k.id = b.skill_id
		union all
		select b.kind, t.code, '', '', '', '', 0, lower(b.during), upper(b.during) from dayplan.pause b join plan on plan.id = b.plan_id join roster.trainer t on t.id = b.trainer_id
		union all
		select b.kind, coalesce(t.code, ''), '', d.code, '', '', 0, lower(b.during), upper(b.during)
		from dayplan.duty b join plan on plan.id = b.plan_id left join roster.trainer t on t.id = b.trainer_id join enrollment.dog d on d.id = b.dog_id`, site, day)
	require.NoError(t, err)
	found, err := postgres.List[struct{ Dog, Row string }](t.Context(), s.pool, "list rows", `
		select d.code as dog, r.row_name as row from planner.stay x join enrollment.request q on q.id = x.request_id join enrollment.dog d on d.id = q.dog_id
		join facility.run r on r.id = x.run_id join facility.site s on s.id = x.site_id
		where s.code = $1 and lower(x.nights) <= $2 and upper(x.nights) >= $2 and x.state in ('published', 'confirmed', 'in residence')`, site, day)
	require.NoError(t, err)
	rows = map[string]string{}
	for _, f := range found {
		rows[f.Dog] = f.Row
	}
	return all, rows
}

func doneOn(lines []*daysheetv1.Line) (out []done) {
	for _, l := range lines {
		out = append(out, done{l.GetKind(), l.GetTrainerCode(), l.GetSecondTrainerCode(), l.GetDogCode(), l.GetAreaCode(), l.GetSkillCode(), int(l.GetSession()), l.GetStartsAt().AsTime(), l.GetEndsAt().AsTime()})
	}
	return out
}

func (d done) String() string {
	return fmt.Sprintln(d.Kind, d.Trainer, d.Second, d.Dog, d.Area, d.Skill, d.Session, d.From.UTC().Format(time.RFC3339), d.To.UTC().Format(time.RFC3339))
}

func texts(all []done) []string {
	out := make([]string, len(all))
	for i, d := range all {
		out[i] = d.String()
	}
	slices.Sort(out)
	return out
}

// recountedDays are days of the scenario on which dogs come, stay and go. Clocks change on 14 March.
var recountedDays = []struct{ site, day string }{{"DRUM", "2027-03-04"}, {"FENN", "2027-03-05"}, {"QUILL", "2027-02-27"}, {"TARN", "2027-03-02"}, {"TARN", "2027-03-14"}}

// TestEverythingPlannedIsOnTheSheets counts again from the tables: what is planned is on the sheet of its trainer and of its dog's row, once,
// and nothing else is.
func TestEverythingPlannedIsOnTheSheets(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	seconds := 0
	for _, r := range recountedDays {
		s.plan(t, r.site, r.day)
		all, rows := s.doneIn(t, r.site, r.day)
		require.NotEmpty(t, all, r)
		require.NotEmpty(t, rows, r)
		sheet := s.sheet(t, r.site, r.day)
		zone, err := time.LoadLocation(sheet.GetZone())
		require.NoError(t, err)

		var byTrainer, bySecond, byRow []done
		for _, x := range sheet.GetTrainers() {
			for _, d := range doneOn(x.GetLines()) {
				if d.Second == x.GetTrainerCode() {
					bySecond = append(bySecond, d)
					continue
				}
				require.Equal(t, x.GetTrainerCode(), d.Trainer)
				byTrainer = append(byTrainer, d)
			}
			requireSorted(t, x.GetLines(), zone)
		}
		for _, x := range sheet.GetRows() {
			for _, d := range doneOn(x.GetLines()) {
				require.Equal(t, x.GetRow(), rows[d.Dog], d.Dog)
				byRow = append(byRow, d)
			}
			requireSorted(t, x.GetLines(), zone)
		}
		require.Equal(t, texts(slices.DeleteFunc(slices.Clone(all), func(d done) bool { return d.Trainer == "" })), texts(byTrainer), r)
		require.Equal(t, texts(slices.DeleteFunc(slices.Clone(all), func(d done) bool { return d.Second == "" })), texts(bySecond), r)
		require.Equal(t, texts(slices.DeleteFunc(slices.Clone(all), func(d done) bool { return d.Dog == "" })), texts(byRow), r)
		seconds += len(bySecond)

		living := map[string]int{}
		for _, x := range sheet.GetRows() {
			for _, dog := range x.GetDogCodes() {
				require.Equal(t, rows[dog], x.GetRow())
				living[dog]++
			}
		}
		require.Len(t, living, len(rows), "every dog that is there is on a row's sheet")
		for dog, n := range living {
			require.Equal(t, 1, n, dog)
		}
	}
	require.Positive(t, seconds, "some dog needs two people")
}

// requireSorted holds that lines go by time and show the clocks of the site.
func requireSorted(t *testing.T, lines []*daysheetv1.Line, zone *time.Location) {
	t.Helper()
	for i, l := range lines {
		require.Equal(t, l.GetStartsAt().AsTime().In(zone).Format("15:04"), l.GetStarts())
		require.True(t, i == 0 || !l.GetStartsAt().AsTime().Before(lines[i-1].GetStartsAt().AsTime()))
	}
}

// fileOf reads a file of the scenario as it lies there.
func fileOf(t *testing.T, name string) (rows []map[string]string) {
	t.Helper()
	f, err := fs.ReadFile(scenario.FS, name)
	require.NoError(t, err)
	records, err := csv.NewReader(strings.NewReader(string(f))).ReadAll()
	require.NoError(t, err)
	for _, r := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = r[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// TestEveryCautionOnRecordIsShown counts cautions again from the files of the scenario, without the code that makes them.
func TestEveryCautionOnRecordIsShown(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	counted := map[string]int{}
	for _, r := range recountedDays {
		s.plan(t, r.site, r.day)
		sheet := s.sheet(t, r.site, r.day)
		shown := map[string]map[string][]string{}
		for _, d := range sheet.GetDogs() {
			shown[d.GetCode()] = map[string][]string{}
			for _, c := range d.GetCautions() {
				shown[d.GetCode()][c.GetAbout()] = append(shown[d.GetCode()][c.GetAbout()], c.GetText())
			}
			require.Equal(t, "care", d.GetCautions()[0].GetAbout())
			require.Len(t, shown[d.GetCode()]["meals"], 1)
		}
		require.NotEmpty(t, shown)
		expect := func(dog, about, text string) {
			if kinds, here := shown[dog]; here {
				require.Contains(t, strings.Join(kinds[about], "\n"), text, "%s %s", dog, about)
				counted[about]++
			}
		}
		for _, d := range fileOf(t, "dogs.csv") {
			if d["bite_level"] != "" {
				expect(d["code"], "bite", "level "+d["bite_level"])
			} else if kinds, here := shown[d["code"]]; here {
				require.Empty(t, kinds["bite"], d["code"])
			}
			if d["note"] != "" {
				expect(d["code"], "note", d["note"])
			}
			if d["two_people"] == "yes" {
				expect(d["code"], "two people", "both")
			}
			for column, words := range map[string]string{"flat_faced": "it is flat-faced", "overweight": "it is overweight"} {
				if d[column] == "yes" {
					expect(d["code"], "heat", words)
				}
			}
		}
		for _, b := range fileOf(t, "bites.csv") {
			expect(b["dog"], "bite", b["day"])
		}
		medicines := map[string]int{}
		for _, m := range fileOf(t, "medicines.csv") {
			if m["first_day"] <= r.day && (m["last_day"] == "" || m["last_day"] >= r.day) {
				expect(m["dog"], "medicine", strings.ReplaceAll(m["times"], "|", " and ")+": "+m["medicine"]+", "+m["dose"])
				medicines[m["dog"]]++
			}
		}
		for dog, kinds := range shown {
			require.Len(t, kinds["medicine"], medicines[dog], "%s gets no medicine that is not due", dog)
		}
		for _, f := range fileOf(t, "feeding.csv") {
			expect(f["dog"], "meals", f["note"])
		}
		for _, p := range fileOf(t, "apart.csv") {
			// A pair counts where both are there; each is told of the other.
			if shown[p["dog"]] != nil && shown[p["other"]] != nil {
				expect(p["dog"], "keep apart", p["other"])
				expect(p["other"], "keep apart", p["dog"])
			}
		}
		phones := map[string][2]string{}
		for _, d := range sheet.GetDogs() {
			phones[d.GetCode()] = [2]string{d.GetVet().GetPhone(), d.GetOwner().GetPhone()}
		}
		owners := map[string]string{}
		for _, o := range fileOf(t, "owners.csv") {
			owners[o["code"]] = o["phone"]
		}
		for _, d := range fileOf(t, "dogs.csv") {
			if got, here := phones[d["code"]]; here {
				require.Equal(t, owners[d["owner"]], got[1], d["code"])
			}
		}
		for _, v := range fileOf(t, "vets.csv") {
			if got, here := phones[v["dog"]]; here {
				require.Equal(t, v["phone"], got[0])
				counted["vet"]++
			}
		}
	}
	for _, about := range []string{"bite", "medicine", "meals", "note", "vet", "keep apart", "two people", "heat"} {
		require.Positive(t, counted[about], "the days that are counted have no %s", about)
	}
}

// TestTheDayOnWhichClocksChange: times of 14 March are as clocks show them, and the sheet says that they change.
func TestTheDayOnWhichClocksChange(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.plan(t, "TARN", "2027-03-14")
	sheet := s.sheet(t, "TARN", "2027-03-14")
	require.Contains(t, strings.Join(sheet.GetNotes(), "\n"), "Clocks change on this day: it has 1380 minutes")
	looked := 0
	for _, x := range sheet.GetTrainers() {
		for _, l := range x.GetLines() {
			// After 02:00 Denver is six hours behind UTC, the day before it was seven.
			require.Equal(t, l.GetStartsAt().AsTime().Add(-6*time.Hour).Format("15:04"), l.GetStarts())
			looked++
		}
	}
	require.Positive(t, looked)
	s.plan(t, "TARN", "2027-03-13")
	require.NotContains(t, strings.Join(s.sheet(t, "TARN", "2027-03-13").GetNotes(), "\n"), "Clocks change")
}
