package training

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// errUndo ends a transaction that must leave nothing.
var errUndo = errors.New("undo")

// spanOf is one day.
func spanOf(day string) calendar.Span {
	d := calendar.MustDate(day)
	return calendar.Span{From: d, To: d.AddDays(1)}
}

// sessionFile is a file of sessions without the columns that most rows leave empty.
func sessionFile(rows ...string) []string {
	lines := []string{sessionsCSV}
	for _, row := range rows {
		lines = append(lines, row+strings.Repeat(",", strings.Count(sessionsCSV, ",")-strings.Count(row, ",")))
	}
	return lines
}

func TestKindsAreSound(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for _, p := range Ports(s.known()) {
		require.NoError(t, p.Kind.Check(), p.Kind.Name)
	}
}

func TestSkillsAndTargetsInAndOut(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	require.Equal(t, []string{skillsCSV, "COME,Come,,yes,20", "HEEL,Heel,on the left,yes,10", "SIT-STAY,Sit and stay,,no,30"}, s.list(t, KindSkills))
	require.Equal(t, []string{targetsCSV, "LONG,HEEL,85,0,0,busy", "MANNERS,COME,75,0,610,quiet", "MANNERS,SIT-STAY,80,120,183,mild"}, s.list(t, KindTargets))
	before := s.codes(t, KindSkills)
	require.Empty(t, s.put(t, KindSkills, skillsCSV, "COME,Come here,at once,no,5"))
	require.Equal(t, before, s.codes(t, KindSkills), "a known skill keeps its ID")
	require.Empty(t, s.put(t, KindTargets, targetsCSV, "MANNERS,COME,90,,,"))
	skills, err := ListSkills(t.Context(), s.pool)
	require.NoError(t, err)
	require.Equal(t, Skill{ID: ids.SkillID(before["COME"]), Code: "COME", Name: "Come here", About: "at once", SortOrder: 5}, skills[0])
	targets, err := ListTargetsOf(t.Context(), s.pool, s.programs[0].ID)
	require.NoError(t, err)
	require.Equal(t, Target{ProgramID: s.programs[0].ID, SkillID: skills[0].ID, TrialsPercent: 90}, targets[0])
	all, err := ListTargets(t.Context(), s.pool)
	require.NoError(t, err)
	require.Len(t, all, 3)
	require.Subset(t, all, targets)
}

// TestSessionsInAndOut: what was logged goes out and comes into another school unchanged, corrections, instants and all.
func TestSessionsInAndOut(t *testing.T) {
	t.Parallel()
	s, other := newSchool(t), newSchool(t)
	first := s.logs(t, entry())
	second := s.corrects(t, first.GetId(), entry(func(e *trainingv1.Entry) { e.Successes, e.Settled, e.Note = 3, nil, "" }))
	s.corrects(t, second.GetId(), entry(func(e *trainingv1.Entry) {
		e.TrainerCode, e.TrainedAt = "BEN", timestamppb.New(testNow.Add(time.Hour+time.Microsecond))
	}))
	s.logs(t, entry(func(e *trainingv1.Entry) { e.DogCode, e.SkillCode = "DOT", "HEEL" }))
	out := s.list(t, KindSessions)
	require.Len(t, out, 5)
	require.Contains(t, strings.Join(out, "\n"), "2027-03-08T17:00:00.000001Z")

	require.Empty(t, other.put(t, KindSessions, out...))
	require.Equal(t, out, other.list(t, KindSessions))
	before := other.contents(t)
	other.at(testNow.Add(1e12))
	require.Empty(t, other.put(t, KindSessions, out...), "again")
	require.Equal(t, before, other.contents(t))
}

// TestPaperLogs: a key may be any text; the same text is the same session for good, also in another file.
func TestPaperLogs(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	paper := sessionFile("P-1,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8", "P-2,BO,ANA,COME,2027-03-08T15:40:00Z,5,5,,610,mild,calm")
	require.Empty(t, s.put(t, KindSessions, paper...))
	require.Empty(t, s.put(t, KindSessions, paper...))
	require.Empty(t, s.put(t, KindSessions, sessionFile("P-1b,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,7,,,,,one less,P-1")...))
	sessions, err := ListSessions(t.Context(), s.pool, []ids.DogID{s.dogs[0].ID}, spanOf("2027-03-08"))
	require.NoError(t, err)
	require.Len(t, sessions, 2)
	require.Equal(t, 7, sessions[0].Successes)
	require.Equal(t, "office", sessions[0].LoggedBy)
	require.True(t, testNow.Equal(sessions[0].ArrivedAt))
	require.Equal(t, -40*time.Minute, sessions[0].Ahead())
	nothing, err := ListSessions(t.Context(), s.pool, []ids.DogID{s.dogs[0].ID}, spanOf("2027-03-09"))
	require.NoError(t, err)
	require.Empty(t, nothing)
}

func TestRowsThatCannotComeIn(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	require.Empty(t, s.put(t, KindSessions, sessionFile("OLD,BO,ANA,HEEL,2027-03-01T15:00:00Z,10,8", "FIX,BO,ANA,HEEL,2027-03-01T15:00:00Z,10,7,,,,,,OLD")...))
	before := s.contents(t)
	id := "0193a5c0-7b1e-7cc1-9d2f-3a4b5c6d7e8f"
	for _, c := range []struct {
		rows []string
		want []string
	}{
		{[]string{"A,BO,ANA,HEEL,2027-03-08 15:20,10,8"}, []string{"2 trained_at is not an instant in UTC"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-08T15:20:00-07:00,10,8"}, []string{"2 trained_at is not an instant in UTC"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-08T15:20:00Z,8,10,,,,,,,yesterday"}, []string{"2 arrived_at is not an instant in UTC", "2 successes is more than the trials"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-09T16:00:01Z,10,8"}, []string{"2 trained_at lies more than 24 hours ahead of the time of this import"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-09T16:00:01Z,10,8,,,,,,,2027-03-08T16:00:00Z"}, []string{"2 trained_at lies more than 24 hours ahead of arrived_at"}},
		{[]string{"A,DOT,ANA,HEEL,2026-09-30T15:00:00Z,10,8"}, []string{"2 trained_at is not in the life of the dog, born 2026-10-01"}},
		{[]string{"OLD,BO,ANA,HEEL,2027-03-01T15:00:00Z,10,9"}, []string{"2 key is that of a session that says something else, and sessions are not changed"}},
		{[]string{"OLD,BO,ANA,HEEL,2027-03-01T15:00:00Z,10,8,,,,,,,,BEN"}, []string{"2 key is that of a session that says something else, and sessions are not changed"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8,,,,,,A"}, []string{"2 replaces is the key of the row itself"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8,,,,,,NONE"}, []string{"2 replaces is no session that is kept or comes in with this file"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8,,,,,,OLD"}, []string{"2 replaces was corrected already"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8,,,,,,FIX", "B,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8,,,,,,FIX"},
			[]string{"3 replaces is corrected in line 2 already"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8,,,,,,B", "B,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8,,,,,,A"},
			[]string{"2 replaces leads back to this row", "3 replaces is no session that is kept or comes in with this file"}},
		{[]string{"A,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8,,,,,,B", "B,BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8,,,,,,NONE"},
			[]string{"2 replaces is no session that is kept or comes in with this file", "3 replaces is no session that is kept or comes in with this file"}},
		{[]string{id + ",BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8", strings.ToUpper(id) + ",BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8"},
			[]string{"3 key is the key of line 2, in capital or small letters"}},
	} {
		err := postgres.InTx(t.Context(), s.pool, func(tx postgres.Tx) error {
			require.Equal(t, c.want, told(t, s.take(t, tx, KindSessions, sessionFile(c.rows...)...)), c.rows)
			return errUndo
		})
		require.ErrorIs(t, err, errUndo)
	}
	require.Equal(t, before, s.contents(t))
}

// TestAnImportThatCameTooLate: what somebody logs between looking and writing is not lost, and the import says so.
func TestAnImportThatCameTooLate(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	e, slow := entry(), s.known()
	rows := s.rowsOf(t, s.port(t, KindSessions), sessionFile(e.GetKey()+",BO,ANA,HEEL,2027-03-08T15:20:00Z,10,8")...)
	slow.Trainers = func(context.Context, postgres.DB) ([]TrainerRef, error) { // what an import reads last
		s.logs(t, e)
		return s.trainers, nil
	}
	err := postgres.InTx(t.Context(), s.pool, func(tx postgres.Tx) error {
		_, err := putSessionRows(t.Context(), tx, slow, records.Intake{Now: testNow, By: "office"}, rows)
		return err
	})
	refuses(t, err, apperr.Conflict, "SESSIONS_CLASH", "import again")
	require.Len(t, s.contents(t), 1)
}
