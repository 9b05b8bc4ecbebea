package roster

import (
	"fmt"
	"slices"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/records"
)

// trainerSpan is what absences and loans have in common: days of one trainer. Trainer and first day are its key.
type trainerSpan struct {
	trainer ids.TrainerID
	days    calendar.Span
}

type trainerSpanKey struct {
	trainer ids.TrainerID
	first   calendar.Date
}

func (s trainerSpan) key() trainerSpanKey { return trainerSpanKey{s.trainer, s.days.From} }

func absenceSpan(a Absence) trainerSpan { return trainerSpan{a.TrainerID, a.Days} }
func loanSpan(l Loan) trainerSpan       { return trainerSpan{l.TrainerID, l.Days} }

func spansOf[T any](all []T, span func(T) trainerSpan) []trainerSpan {
	out := make([]trainerSpan, len(all))
	for i, one := range all {
		out[i] = span(one)
	}
	return out
}

// placeSpans says which of the coming spans, one for each row, can stand beside the known ones: fits holds their indices in
// order, wrong the others. A coming span replaces a known one with its key. When it is wrong the known one stays, and may
// stand in the way of a coming span that was let through before; so the whole is done again until nothing changes.
func placeSpans(rows []records.Row, known, coming []trainerSpan, what string) (fits []int, wrong []records.Wrong) {
	knownKeys := map[trainerSpanKey]bool{}
	for _, k := range known {
		knownKeys[k.key()] = true
	}
	refused := map[int]records.Wrong{}
	for again := true; again; {
		again = false
		taken := stayingSpans(known, coming, refused)
		fits = fits[:0]
		for i, c := range coming {
			if _, done := refused[i]; done {
				continue
			}
			at := slices.IndexFunc(taken[c.trainer], c.days.Overlaps)
			if at < 0 {
				taken[c.trainer] = append(taken[c.trainer], c.days)
				fits = append(fits, i)
				continue
			}
			other := taken[c.trainer][at]
			refused[i] = rows[i].Wrong("first_day",
				fmt.Sprintf("overlaps the %s from %s to %s of the same trainer", what, other.From, lastDay(other)),
				"join the two into one row, or shorten one")
			again = again || knownKeys[c.key()]
		}
	}
	for i := range coming {
		if w, ok := refused[i]; ok {
			wrong = append(wrong, w)
		}
	}
	return fits, wrong
}

// stayingSpans lists, by trainer, the known spans that no coming one replaces.
func stayingSpans(known, coming []trainerSpan, refused map[int]records.Wrong) map[ids.TrainerID][]calendar.Span {
	replaced := map[trainerSpanKey]bool{}
	for i, c := range coming {
		if _, wrong := refused[i]; !wrong {
			replaced[c.key()] = true
		}
	}
	staying := map[ids.TrainerID][]calendar.Span{}
	for _, k := range known {
		if !replaced[k.key()] {
			staying[k.trainer] = append(staying[k.trainer], k.days)
		}
	}
	return staying
}

// lastDay is the last day of a span that is not empty.
func lastDay(s calendar.Span) calendar.Date { return s.To.AddDays(-1) }
