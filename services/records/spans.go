package records

import (
	"fmt"

	"github.com/longlead/longlead/services/calendar"
)

// Dated is days of one owner (a run, a trainer), of which no two may share a day. Owner and first day are its key.
type Dated[K comparable] struct {
	Owner K
	Days  calendar.Span
}

type datedKey[K comparable] struct {
	owner K
	first calendar.Date
}

func (d Dated[K]) key() datedKey[K] { return datedKey[K]{d.Owner, d.Days.From} }

// PlaceDated says which of the coming spans, one for each row, can stand beside the known ones: fits holds their indices in
// order, wrong the others. what and owner name them in messages: "absence", "trainer". The rows have a column first_day.
//
// A coming span replaces a known one with its key. When it is wrong the known one stays, and may stand in the way of a coming
// span that was let through before; so the whole is done again until nothing changes.
func PlaceDated[K comparable](rows []Row, known, coming []Dated[K], what, owner string) (fits []int, wrong []Wrong) {
	knownKeys := map[datedKey[K]]bool{}
	for _, k := range known {
		knownKeys[k.key()] = true
	}
	refused := map[int]Wrong{}
	for again := true; again; {
		again = false
		taken := staying(known, coming, refused)
		fits = fits[:0]
		for i, c := range coming {
			if _, done := refused[i]; done {
				continue
			}
			other, clash := overlapping(taken[c.Owner], c.Days)
			if !clash {
				taken[c.Owner] = append(taken[c.Owner], c.Days)
				fits = append(fits, i)
				continue
			}
			refused[i] = rows[i].Wrong("first_day",
				fmt.Sprintf("overlaps the %s from %s to %s of the same %s", what, other.From, other.To.AddDays(-1), owner),
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

// staying lists, by owner, the known spans that no coming one replaces.
func staying[K comparable](known, coming []Dated[K], refused map[int]Wrong) map[K][]calendar.Span {
	replaced := map[datedKey[K]]bool{}
	for i, c := range coming {
		if _, wrong := refused[i]; !wrong {
			replaced[c.key()] = true
		}
	}
	stays := map[K][]calendar.Span{}
	for _, k := range known {
		if !replaced[k.key()] {
			stays[k.Owner] = append(stays[k.Owner], k.Days)
		}
	}
	return stays
}

func overlapping(spans []calendar.Span, days calendar.Span) (calendar.Span, bool) {
	for _, s := range spans {
		if s.Overlaps(days) {
			return s, true
		}
	}
	return calendar.Span{}, false
}
