package roster

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
)

// Both lists read days as a text because pgx hands ranges to a Scanner in their binary form.

// ListAbsences returns the absences that share a day with span, whole, by trainer code and first day. The zero span asks
// for all of them.
func ListAbsences(ctx context.Context, db postgres.DB, span calendar.Span) ([]Absence, error) {
	return postgres.List[Absence](ctx, db, "list absences", `
		select a.id, a.trainer_id, a.days::text as days, a.kind
		from roster.absence a join roster.trainer t on t.id = a.trainer_id
		where $1::daterange is null or a.days && $1::daterange order by t.code, lower(a.days)`, span)
}

// ListLoans returns the loans that share a day with span, whole, by trainer code and first day. The zero span asks for all
// of them.
func ListLoans(ctx context.Context, db postgres.DB, span calendar.Span) ([]Loan, error) {
	return postgres.List[Loan](ctx, db, "list loans", `
		select l.id, l.trainer_id, l.site_id, l.days::text as days
		from roster.loan l join roster.trainer t on t.id = l.trainer_id
		where $1::daterange is null or l.days && $1::daterange order by t.code, lower(l.days)`, span)
}

const (
	insertAbsenceSQL = `insert into roster.absence (id, trainer_id, days, kind) values ($1, $2, $3, $4)`
	insertLoanSQL    = `insert into roster.loan (id, trainer_id, site_id, days) values ($1, $2, $3, $4)`
)

// InsertAbsence adds an absence. A day on which the trainer is absent already is a Conflict; packages that act on it in the same transaction use it.
func InsertAbsence(ctx context.Context, tx postgres.Tx, a Absence) error {
	_, err := tx.Exec(ctx, insertAbsenceSQL, a.ID, a.TrainerID, a.Days, a.Kind)
	if name, _ := postgres.Constraint(err); name == "absence_trainer_days_excl" {
		return apperr.Conflictf("TRAINER_AWAY_ALREADY",
			"the trainer is away already on a day from %s to %s: take that absence back first, or name other days",
			a.Days.From, lastDay(a.Days)).Because(err)
	}
	if err != nil {
		return fmt.Errorf("insert absence: %w", err)
	}
	return nil
}

// deleteAbsence takes an absence back. It returns NotFound for an unknown one.
func deleteAbsence(ctx context.Context, tx postgres.Tx, id ids.AbsenceID) error {
	done, err := tx.Exec(ctx, `delete from roster.absence where id = $1`, id)
	if err != nil {
		return fmt.Errorf("delete absence %s: %w", id, err)
	}
	if done.RowsAffected() == 0 {
		return apperr.NotFoundf("ABSENCE_UNKNOWN",
			"there is no absence %s: it may have been taken back already, or replaced by an import", id)
	}
	return nil
}

// insertLoan adds a loan. A day on which the trainer is lent already is a Conflict.
func insertLoan(ctx context.Context, tx postgres.Tx, l Loan) error {
	_, err := tx.Exec(ctx, insertLoanSQL, l.ID, l.TrainerID, l.SiteID, l.Days)
	if name, _ := postgres.Constraint(err); name == "loan_trainer_days_excl" {
		return apperr.Conflictf("TRAINER_LENT_ALREADY",
			"the trainer is lent already on a day from %s to %s: name other days", l.Days.From, lastDay(l.Days)).Because(err)
	}
	if err != nil {
		return fmt.Errorf("insert loan: %w", err)
	}
	return nil
}

// putAbsences writes absences; one with the same trainer and first day is replaced. One that overlaps another of its
// trainer is told as wrong and not written.
func putAbsences(ctx context.Context, tx postgres.Tx, rows []records.Row, absences []Absence) ([]records.Wrong, error) {
	known, err := ListAbsences(ctx, tx, calendar.Span{})
	if err != nil {
		return nil, err
	}
	fits, wrong := records.PlaceDated(rows, spansOf(known, absenceSpan), spansOf(absences, absenceSpan), "absence", "trainer")
	deletes, inserts := &pgx.Batch{}, &pgx.Batch{}
	for _, i := range fits {
		a := absences[i]
		if k, replaces := replacing(known, absenceSpan, absenceSpan(a)); replaces {
			a.ID = k.ID
		}
		deletes.Queue(`delete from roster.absence where trainer_id = $1 and lower(days) = $2`, a.TrainerID, a.Days.From)
		inserts.Queue(insertAbsenceSQL, a.ID, a.TrainerID, a.Days, a.Kind)
	}
	return wrong, sendInTurn(ctx, tx, fmt.Sprintf("put %d absences", len(fits)), deletes, inserts)
}

// putLoans is putAbsences for loans.
func putLoans(ctx context.Context, tx postgres.Tx, rows []records.Row, loans []Loan) ([]records.Wrong, error) {
	known, err := ListLoans(ctx, tx, calendar.Span{})
	if err != nil {
		return nil, err
	}
	fits, wrong := records.PlaceDated(rows, spansOf(known, loanSpan), spansOf(loans, loanSpan), "loan", "trainer")
	deletes, inserts := &pgx.Batch{}, &pgx.Batch{}
	for _, i := range fits {
		l := loans[i]
		if k, replaces := replacing(known, loanSpan, loanSpan(l)); replaces {
			l.ID = k.ID
		}
		deletes.Queue(`delete from roster.loan where trainer_id = $1 and lower(days) = $2`, l.TrainerID, l.Days.From)
		inserts.Queue(insertLoanSQL, l.ID, l.TrainerID, l.SiteID, l.Days)
	}
	return wrong, sendInTurn(ctx, tx, fmt.Sprintf("put %d loans", len(fits)), deletes, inserts)
}

// sendInTurn sends all deletes before the first insert: a new record may take days that a replaced one gives up.
func sendInTurn(ctx context.Context, tx postgres.Tx, what string, batches ...*pgx.Batch) error {
	for _, batch := range batches {
		if err := tx.SendBatch(ctx, batch).Close(); err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
	}
	return nil
}
