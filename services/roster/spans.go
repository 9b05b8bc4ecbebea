package roster

import (
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/records"
)

// trainerSpan is what absences and loans have in common: days of one trainer. Trainer and first day are its key.
type trainerSpan = records.Dated[ids.TrainerID]

func absenceSpan(a Absence) trainerSpan { return trainerSpan{Owner: a.TrainerID, Days: a.Days} }
func loanSpan(l Loan) trainerSpan       { return trainerSpan{Owner: l.TrainerID, Days: l.Days} }

func spansOf[T any](all []T, span func(T) trainerSpan) []trainerSpan {
	out := make([]trainerSpan, len(all))
	for i, one := range all {
		out[i] = span(one)
	}
	return out
}

// replacing returns the known record that one with the same trainer and first day replaces; it keeps its ID.
func replacing[T any](known []T, span func(T) trainerSpan, coming trainerSpan) (T, bool) {
	for _, k := range known {
		if s := span(k); s.Owner == coming.Owner && s.Days.From == coming.Days.From {
			return k, true
		}
	}
	var none T
	return none, false
}

// lastDay is the last day of a span that is not empty.
func lastDay(s calendar.Span) calendar.Date { return s.To.AddDays(-1) }
