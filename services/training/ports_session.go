package training

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// instantLayout is how files write instants: UTC, to the microsecond, as the database keeps them.
const instantLayout = "2006-01-02T15:04:05.000000Z"

// paperKeys is the namespace (RFC 9562, version 5) in which a key that is no UUID becomes one.
var paperKeys = uuid.MustParse("6f1c0f0e-52f3-4c5e-9d0b-3a0f6a2c7d11")

// sessionIDOf turns the key of a file into the ID of the session: a UUID stays what it is, any other text always gives the same.
func sessionIDOf(key string) ids.SessionID {
	if key == "" {
		return ids.SessionID{}
	}
	if id, err := ids.Parse[ids.SessionID](key); err == nil {
		return id
	}
	return ids.SessionID(uuid.NewSHA1(paperKeys, []byte(key)))
}

func sessionsPort(known Known) records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindSessions, About: "Training sessions as they were logged; kept for good, corrected by further rows", Key: []string{"key"}, Columns: []sheet.Column{
			{Name: "key", Form: sheet.FormCode, Required: true, Example: "ANA-2027-03-08-1", About: "what tells the session from all others: a UUID, or a text of your own, which stands for the same session for good"},
			{Name: "dog", Form: sheet.FormCode, Required: true, Refers: kindDogs, Example: "REX-LOWE", About: "code of the dog"},
			{Name: "trainer", Form: sheet.FormCode, Required: true, Refers: kindTrainers, Example: "ANA", About: "code of the trainer"},
			skillColumn,
			{Name: "trained_at", Form: sheet.FormText, Required: true, Max: 40, Example: "2027-03-08T15:20:00Z", About: "when it was, in UTC"},
			{Name: "trials", Form: sheet.FormWhole, Required: true, Min: 0, Max: mostTrials, Example: "10", About: "trials; 0 in a correction that takes a session back"},
			{Name: "successes", Form: sheet.FormWhole, Required: true, Min: 0, Max: mostTrials, Example: "8", About: "trials that were passed"},
			withAbout(holdColumn, "longest hold in seconds; empty or 0 when none was measured"),
			withAbout(distanceColumn, "centimetres from the handler; empty or 0 at the side"),
			withAbout(distractionColumn, "how busy the place was; empty for quiet"),
			{Name: "settled", Form: sheet.FormChoice, OneOf: SettledNames, Example: "mostly", About: "how settled the dog was; empty when it was not noted"},
			{Name: "note", Form: sheet.FormText, Max: mostNote, Example: "looked for the ball", About: "what whoever trains next should know"},
			{Name: "replaces", Form: sheet.FormCode, About: "key of the session that this one corrects; empty for none"},
			{Name: "arrived_at", Form: sheet.FormText, Max: 40, Example: "2027-03-08T15:21:00Z", About: "when it was logged, in UTC; empty for the time of the import"},
			{Name: "logged_by", Form: sheet.FormText, Max: 120, Example: "ANA", About: "who logged it; empty for who imports"},
		}},
		Check:    checkSessionRow,
		Together: true,
		Put: func(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
			return putSessionRows(ctx, tx, known, in, rows)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) { return listSessionRows(ctx, db, known) },
	}
}

func listSessionRows(ctx context.Context, db postgres.DB, known Known) ([][]string, error) {
	kept, err := listAllSessions(ctx, db)
	if err != nil {
		return nil, err
	}
	names, err := namesOf(ctx, db, known, kept)
	return records.Cells(kept, func(k Kept) []string {
		settled := ""
		if k.Settled != nil {
			settled = SettledNames[*k.Settled]
		}
		return []string{k.ID.String(), names.dogs[k.DogID], names.trainers[k.TrainerID], names.skills[k.SkillID], k.TrainedAt.UTC().Format(instantLayout),
			sheet.Int(k.Trials), sheet.Int(k.Successes), sheet.Int(k.HoldSeconds), sheet.Int(k.DistanceCM), DistractionNames[k.Distraction],
			settled, k.Note, k.Replaces.String(), k.ArrivedAt.UTC().Format(instantLayout), k.LoggedBy}
	}), err
}

// instantOf reads an instant, cut to the microsecond, and whether it is one in UTC.
func instantOf(row records.Row, column string) (time.Time, bool) {
	at, err := time.Parse(time.RFC3339Nano, row.Text(column))
	if err != nil {
		return time.Time{}, false
	}
	_, offset := at.Zone()
	return at.UTC().Truncate(time.Microsecond), offset == 0
}

func checkSessionRow(row records.Row) []records.Wrong {
	var wrong []records.Wrong
	for _, column := range []string{"trained_at", "arrived_at"} {
		if _, ok := instantOf(row, column); !ok && row.Has(column) {
			wrong = append(wrong, row.Wrong(column, "is not an instant in UTC", "write it as 2027-03-08T15:20:00Z"))
		}
	}
	if row.Int("successes") > row.Int("trials") {
		wrong = append(wrong, row.Wrong("successes", "is more than the trials", "8 of 10 is 10 trials and 8 successes"))
	}
	if row.Has("replaces") && sessionIDOf(row.Text("replaces")) == sessionIDOf(row.Text("key")) {
		wrong = append(wrong, row.Wrong("replaces", "is the key of the row itself", "give the correction a key of its own"))
	}
	return wrong
}

// sessionOf makes the session of a row that passed checkSessionRow. Its day is set later.
func sessionOf(row records.Row, in records.Intake) Session {
	s := Session{ID: sessionIDOf(row.Text("key")), ArrivedAt: in.Now, LoggedBy: in.By, Entry: Entry{
		DogID: ids.DogID(row.Ref("dog")), TrainerID: ids.TrainerID(row.Ref("trainer")), SkillID: ids.SkillID(row.Ref("skill")),
		Trials: row.Int("trials"), Successes: row.Int("successes"), HoldSeconds: row.Int("hold_seconds"), DistanceCM: row.Int("distance_cm"),
		Distraction: max(0, slices.Index(DistractionNames, row.Text("distraction"))), Note: row.Text("note"), Replaces: sessionIDOf(row.Text("replaces"))}}
	s.TrainedAt, _ = instantOf(row, "trained_at")
	if row.Has("arrived_at") {
		s.ArrivedAt, _ = instantOf(row, "arrived_at")
	}
	if row.Has("logged_by") {
		s.LoggedBy = row.Text("logged_by")
	}
	if row.Has("settled") {
		settled := slices.Index(SettledNames, row.Text("settled"))
		s.Settled = &settled
	}
	return s
}

// putSessionRows adds sessions. One that is kept already is passed over when it says the same, and wrong when it does not: what
// was logged is never changed.
func putSessionRows(ctx context.Context, tx postgres.Tx, known Known, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
	sessions := make([]Session, len(rows))
	var named []ids.SessionID
	var dogIDs []ids.DogID
	for i, row := range rows {
		sessions[i] = sessionOf(row, in)
		named = append(named, sessions[i].ID, sessions[i].Replaces)
		dogIDs = append(dogIDs, sessions[i].DogID)
	}
	kept, err := listSessionsByID(ctx, tx, slices.DeleteFunc(named, ids.SessionID.IsZero))
	if err != nil {
		return nil, err
	}
	refs, err := readRefs(ctx, tx, known, dogIDs)
	if err != nil {
		return nil, err
	}
	wrong := map[int][]records.Wrong{}
	fresh := map[ids.SessionID]int{}
	for i, row := range rows {
		if before, ok := kept[sessions[i].ID]; ok {
			wrong[i] = changedWrong(row, before.Session, sessions[i])
			continue
		}
		if sessions[i].Day, err = refs.trainers[sessions[i].TrainerID].dayOf(sessions[i].TrainedAt); err != nil {
			return nil, err
		}
		if first, twice := fresh[sessions[i].ID]; twice {
			wrong[i] = []records.Wrong{row.Wrong("key", fmt.Sprintf("is the key of line %d, in capital or small letters", rows[first].Line), "give each session a key of its own")}
			continue
		}
		if wrong[i] = instantWrong(row, sessions[i], refs.dogs[sessions[i].DogID]); len(wrong[i]) == 0 {
			fresh[sessions[i].ID] = i
		}
	}
	holdReplaced(rows, sessions, kept, fresh, wrong)
	var told []records.Wrong
	var adding []Session
	for i := range rows {
		told = append(told, wrong[i]...)
		if at, ok := fresh[sessions[i].ID]; ok && at == i {
			adding = append(adding, sessions[i])
		}
	}
	added, err := insertSessions(ctx, tx, adding)
	if err == nil && added != len(adding) {
		err = apperr.Conflictf("SESSIONS_CLASH", "%d of %d sessions were logged or corrected by others meanwhile: import again", len(adding)-added, len(adding))
	}
	return told, err
}

// refs are the dogs and trainers that rows point to.
type refs struct {
	dogs     map[ids.DogID]DogRef
	trainers map[ids.TrainerID]TrainerRef
}

func readRefs(ctx context.Context, db postgres.DB, known Known, dogIDs []ids.DogID) (refs, error) {
	out := refs{map[ids.DogID]DogRef{}, map[ids.TrainerID]TrainerRef{}}
	slices.SortFunc(dogIDs, ids.DogID.Compare)
	dogs, err := known.DogsByID(ctx, db, slices.Compact(dogIDs))
	if err != nil {
		return out, err
	}
	for _, d := range dogs {
		out.dogs[d.ID] = d
	}
	trainers, err := known.Trainers(ctx, db)
	for _, t := range trainers {
		out.trainers[t.ID] = t
	}
	return out, err
}

// changedWrong finds a row that says something else than the session that is kept under its key.
func changedWrong(row records.Row, before, now Session) []records.Wrong {
	same := before.Entry.same(now.Entry) && (!row.Has("arrived_at") || before.ArrivedAt.Equal(now.ArrivedAt)) &&
		(!row.Has("logged_by") || before.LoggedBy == now.LoggedBy)
	if same {
		return nil
	}
	return []records.Wrong{row.Wrong("key", "is that of a session that says something else, and sessions are not changed",
		"add a row under a key of its own that names this key in the column replaces")}
}

// instantWrong holds the instant against the arrival and the dog's life, as for a session that a device sends.
func instantWrong(row records.Row, s Session, dog DogRef) []records.Wrong {
	switch {
	case s.TrainedAt.Sub(s.ArrivedAt) > mostAhead && !row.Has("arrived_at"):
		return []records.Wrong{row.Wrong("trained_at", "lies more than 24 hours ahead of the time of this import", "check the date and the time of day, in UTC")}
	case s.TrainedAt.Sub(s.ArrivedAt) > mostAhead:
		return []records.Wrong{row.Wrong("trained_at", "lies more than 24 hours ahead of arrived_at", "check both, in UTC")}
	case s.Day.Before(dog.Born), s.Day.After(dog.Born.AddMonths(12 * mostAgeYears)):
		return []records.Wrong{row.Wrong("trained_at", fmt.Sprintf("is not in the life of the dog, born %s", dog.Born), "check the date, and the dog's day of birth")}
	}
	return nil
}

// holdReplaced holds what rows replace against what is kept and against each other: it must be there, be replaced by one session
// only, and lead to a first one. A row that is refused takes those that replace it with it, so all is done again until nothing
// changes. Refused rows leave fresh.
func holdReplaced(rows []records.Row, sessions []Session, kept map[ids.SessionID]Kept, fresh map[ids.SessionID]int, wrong map[int][]records.Wrong) {
	for again := true; again; {
		again = false
		taken := map[ids.SessionID]int{}
		for i, row := range rows {
			s := sessions[i]
			if at, ok := fresh[s.ID]; !ok || at != i || s.Replaces.IsZero() {
				continue
			}
			rule, remedy := replacedWrong(s, sessions, kept, fresh)
			if first, twice := taken[s.Replaces]; twice && rule == "" {
				rule, remedy = fmt.Sprintf("is corrected in line %d already", rows[first].Line), "correct that correction: name its key"
			}
			if rule == "" {
				taken[s.Replaces] = i
				continue
			}
			wrong[i] = append(wrong[i], row.Wrong("replaces", rule, remedy))
			delete(fresh, s.ID)
			again = true
		}
	}
}

// replacedWrong says what is wrong with what a session replaces, with the remedy; nothing when all is well.
func replacedWrong(s Session, sessions []Session, kept map[ids.SessionID]Kept, fresh map[ids.SessionID]int) (rule, remedy string) {
	if before, ok := kept[s.Replaces]; ok {
		if !before.ReplacedBy.IsZero() {
			return "was corrected already", "correct that correction: its key is " + before.ReplacedBy.String()
		}
		return "", ""
	}
	if _, ok := fresh[s.Replaces]; !ok {
		return "is no session that is kept or comes in with this file", "name the key of the session to correct"
	}
	seen := map[ids.SessionID]bool{s.ID: true}
	for at := s.Replaces; ; {
		i, ok := fresh[at]
		if !ok {
			return "", ""
		}
		if seen[at] {
			return "leads back to this row", "let the first session replace none"
		}
		seen[at] = true
		at = sessions[i].Replaces
	}
}
