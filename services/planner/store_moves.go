package planner

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const studyColumns = `id, month, state, made_at, made_by, moves, seconds_limit, iterations_limit, seed, job_id, attempt, phase, percent_done, seconds,
	fingerprint, result, failure`

// mostStudies is how many studies a list has at most.
const mostStudies = 20

// insertStudy stores a study in state working.
func insertStudy(ctx context.Context, tx postgres.Tx, s MoveStudy) (MoveStudy, error) {
	return postgres.One[MoveStudy](ctx, tx, "insert a study of moves", `
		insert into planner.move_study (id, month, state, made_at, made_by, moves, seconds_limit, iterations_limit, seed, phase, result)
		values ($1, $2, 'working', $3, $4, $5, $6, $7, $8, 'waiting for a worker', $9) returning `+studyColumns,
		s.ID, s.Month, s.MadeAt, s.MadeBy, s.Moves, s.SecondsLimit, s.IterationsLimit, s.Seed, s.Result)
}

// findStudy returns a study, or NotFound. With lock its row is locked until the end of the transaction.
func findStudy(ctx context.Context, db postgres.DB, id ids.MoveStudyID, lock bool) (MoveStudy, error) {
	query := `select ` + studyColumns + ` from planner.move_study where id = $1`
	if lock {
		query += ` for update`
	}
	s, err := postgres.One[MoveStudy](ctx, db, "find study "+id.String(), query, id)
	if postgres.NoRows(err) {
		return s, apperr.NotFoundf("STUDY_UNKNOWN", "there is no study of moves %s: `longlead plan moves MONTH` makes one", id)
	}
	return s, err
}

// listStudies returns the newest studies of a month, or of all months when it is absent.
func listStudies(ctx context.Context, db postgres.DB, month calendar.Month) ([]MoveStudy, error) {
	return postgres.List[MoveStudy](ctx, db, "list studies of moves", `
		select `+studyColumns+` from planner.move_study where $1::date is null or month = $1 order by made_at desc, id desc limit $2`, month, mostStudies)
}

// setStudyJob notes which job works on a study, and what it waits for.
func setStudyJob(ctx context.Context, tx postgres.Tx, id ids.MoveStudyID, job int64, phase string) error {
	if _, err := tx.Exec(ctx, `update planner.move_study set job_id = $2, phase = $3 where id = $1`, id, job, phase); err != nil {
		return fmt.Errorf("note the job of study %s: %w", id, err)
	}
	return nil
}

// beginStudy counts one more worker on a study; false when it is not worked on any more. What a worker that died had found is
// forgotten, because nobody has its plans.
func beginStudy(ctx context.Context, db postgres.DB, id ids.MoveStudyID) (MoveStudy, bool, error) {
	s, err := postgres.One[MoveStudy](ctx, db, "begin work on study "+id.String(), `
		update planner.move_study set attempt = attempt + 1, phase = 'reading', percent_done = 0, seconds = 0, result = $2
		where id = $1 and state = 'working' returning `+studyColumns, id, noResult())
	if postgres.NoRows(err) {
		return MoveStudy{}, false, nil
	}
	return s, err == nil, err
}

// leaveStudy gives the attempt of a worker that stops in good order back.
func leaveStudy(ctx context.Context, db postgres.DB, id ids.MoveStudyID) error {
	_, err := db.Exec(ctx, `update planner.move_study set attempt = attempt - 1, phase = $2 where id = $1 and state = 'working'`, id, phaseLeft)
	if err != nil {
		return fmt.Errorf("leave work on study %s: %w", id, err)
	}
	return nil
}

// listStudiesTakenUp returns the studies that a worker has begun and not ended, without those whose new job waits.
func listStudiesTakenUp(ctx context.Context, db postgres.DB) ([]MoveStudy, error) {
	return postgres.List[MoveStudy](ctx, db, "list studies under way", `
		select `+studyColumns+` from planner.move_study where state = 'working' and phase <> $2 and (attempt > 0 or phase = $1) order by made_at`, phaseLeft, phaseRescued)
}

// keepStudy stores how far a study has come, or its end where state is not working; false when it is not worked on any more.
func keepStudy(ctx context.Context, db postgres.DB, s MoveStudy) (bool, error) {
	tag, err := db.Exec(ctx, `
		update planner.move_study set state = $2, phase = $3, percent_done = $4, seconds = $5, fingerprint = $6, result = $7
		where id = $1 and state = 'working'`, s.ID, s.State, s.Phase, s.PercentDone, s.Seconds, s.Fingerprint, s.Result)
	if err != nil {
		return false, fmt.Errorf("keep study %s: %w", s.ID, err)
	}
	return tag.RowsAffected() == 1, nil
}

// endStudy ends a study that is worked on as cancelled or failed; false when it was not.
func endStudy(ctx context.Context, db postgres.DB, id ids.MoveStudyID, state, failure string) (bool, error) {
	tag, err := db.Exec(ctx, `update planner.move_study set state = $2, failure = $3, phase = '' where id = $1 and state = 'working'`, id, state, failure)
	if err != nil {
		return false, fmt.Errorf("end study %s: %w", id, err)
	}
	return tag.RowsAffected() == 1, nil
}
