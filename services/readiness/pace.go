package readiness

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/training"
	"github.com/longlead/longlead/services/workload"
)

// Settings of a measurement. All are our own, no source.
const (
	// paceDays is how far back logs count, by arrival day, and mostCurves how many learning curves do, those of the latest stays first.
	paceDays, mostCurves = 365, 300
	// fewCurves is the number below which the default weighs as much as what was measured.
	fewCurves = 10
)

// Pace is what is typical of the dogs of a program, as somebody set it. SetAt is absent for the built-in default.
type Pace struct {
	ProgramID ids.ProgramID `db:"program_id"`
	SetAt     time.Time     `db:"set_at"`
	SetBy     string        `db:"set_by"`
	Note      string        `db:"note"`
	workload.Pace
}

// logged is what was logged of the dogs of a program.
type logged struct {
	inUse   Pace
	records []workload.PaceRecord
	// dogs were trained, in so many sessions.
	dogs, sessions int
}

// readLogged reads the logs of a program's stays up to a day.
func readLogged(ctx context.Context, tx postgres.Tx, program enrollment.Program, day calendar.Date) (logged, error) {
	var l logged
	paces, err := listPaces(ctx, tx)
	if err != nil {
		return l, err
	}
	var set bool
	if l.inUse, set = paces[program.ID]; !set {
		l.inUse = Pace{ProgramID: program.ID, Pace: workload.DefaultPace()}
	}
	requests, err := enrollment.ListRequestsOfProgram(ctx, tx, program.ID)
	if err != nil {
		return l, err
	}
	stays, err := planner.ListStaysOf(ctx, tx, requests)
	if err != nil {
		return l, err
	}
	span := calendar.Span{From: day.AddDays(-paceDays), To: day.AddDays(1)}
	stays = slices.DeleteFunc(stays, func(s planner.Stay) bool { return !span.Contains(s.Nights.From) })
	if len(stays) == 0 {
		return l, nil
	}
	slices.Reverse(stays)
	return l, l.readSessions(ctx, tx, program, stays, span)
}

// readSessions turns the sessions of stays, latest first, into records.
func (l *logged) readSessions(ctx context.Context, tx postgres.Tx, program enrollment.Program, stays []planner.Stay, span calendar.Span) error {
	requests := make([]ids.RequestID, len(stays))
	for i, s := range stays {
		requests[i] = s.RequestID
	}
	cases, err := enrollment.ListCasesByRequest(ctx, tx, requests)
	if err != nil {
		return err
	}
	byRequest := make(map[ids.RequestID]enrollment.Case, len(cases))
	dogs := make([]ids.DogID, len(cases))
	for i, c := range cases {
		byRequest[c.Request.ID], dogs[i] = c, c.Dog.ID
	}
	targets, err := training.ListTargetsOf(ctx, tx, program.ID)
	if err != nil {
		return err
	}
	ladder, err := training.ListSkills(ctx, tx)
	if err != nil {
		return err
	}
	sessions, err := training.ListSessions(ctx, tx, dogs, span)
	if err != nil {
		return err
	}
	of := map[ids.DogID][]training.Session{}
	for _, s := range sessions {
		if counts(s) {
			of[s.DogID] = append(of[s.DogID], s)
		}
	}
	for _, stay := range stays {
		g := guest{Stay: stay, Case: byRequest[stay.RequestID], Targets: targets}
		for _, s := range of[g.Case.Dog.ID] {
			if !s.Day.Before(stay.Nights.From) && !s.Day.After(stay.Nights.To) {
				g.Sessions = append(g.Sessions, s)
			}
		}
		l.add(g, ladder)
	}
	return nil
}

// add adds the curves of a stay, unless there are enough.
func (l *logged) add(g guest, ladder []training.Skill) {
	_, records := skillsOf(g, ladder)
	any := false
	for _, r := range records {
		if len(r.Sessions) == 0 || len(l.records) == mostCurves {
			continue
		}
		any = true
		l.sessions += len(r.Sessions)
		l.records = append(l.records, workload.PaceRecord{Sessions: r.Sessions, HoldSeconds: r.Target.HoldSeconds, BreedTier: g.Case.Dog.BreedTier})
	}
	if any {
		l.dogs++
	}
}

// warnings say where a measurement rests on little.
func (l *logged) warnings(program string) []string {
	switch n := len(l.records); {
	case n == 0:
		return []string{fmt.Sprintf("nothing is logged of a skill that %s asks for: what is shown is the built-in default", program)}
	case n < fewCurves:
		return []string{fmt.Sprintf("%d learning curves are few: the built-in default weighs as much as %d", n, fewCurves)}
	}
	return nil
}

// findProgram finds a program by its code, or returns NotFound.
func findProgram(ctx context.Context, tx postgres.Tx, code string) (enrollment.Program, error) {
	programs, err := enrollment.ListPrograms(ctx, tx)
	for _, p := range programs {
		if p.Code == code {
			return p, err
		}
	}
	if err == nil {
		err = apperr.NotFoundf("PROGRAM_UNKNOWN", "there is no program with the code %q: `longlead export programs` lists them", code)
	}
	return enrollment.Program{}, err
}
