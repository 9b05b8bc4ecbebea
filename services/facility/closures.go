package facility

import (
	"fmt"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/records"
)

// closureKey is what tells closures apart for people: the run and the first day.
type closureKey struct {
	run   ids.RunID
	first calendar.Date
}

func (c Closure) key() closureKey { return closureKey{c.RunID, c.Days.From} }

// placeClosures says which of the coming closures, one for each row, can stand beside the known ones, and what is wrong with
// the others. A coming closure replaces a known one with its key. When it is wrong the known one stays, and may stand in the
// way of a coming closure that was let through before; so the whole is done again until nothing changes.
func placeClosures(rows []records.Row, known, coming []Closure) (fits []Closure, wrong []records.Wrong) {
	knownKeys := map[closureKey]bool{}
	for _, k := range known {
		knownKeys[k.key()] = true
	}
	refused := map[int]records.Wrong{}
	for again := true; again; {
		again = false
		taken := stayingClosures(known, coming, refused)
		fits = fits[:0]
		for i, c := range coming {
			if _, done := refused[i]; done {
				continue
			}
			other, clash := overlapping(taken[c.RunID], c.Days)
			if !clash {
				taken[c.RunID] = append(taken[c.RunID], c)
				fits = append(fits, c)
				continue
			}
			refused[i] = rows[i].Wrong("first_day",
				fmt.Sprintf("overlaps the closure from %s to %s of the same run", other.Days.From, other.Days.To.AddDays(-1)),
				"join the two closures into one row, or shorten one")
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

// stayingClosures lists, by run, the known closures that no coming one replaces.
func stayingClosures(known, coming []Closure, refused map[int]records.Wrong) map[ids.RunID][]Closure {
	replaced := map[closureKey]bool{}
	for i, c := range coming {
		if _, wrong := refused[i]; !wrong {
			replaced[c.key()] = true
		}
	}
	staying := map[ids.RunID][]Closure{}
	for _, k := range known {
		if !replaced[k.key()] {
			staying[k.RunID] = append(staying[k.RunID], k)
		}
	}
	return staying
}

func overlapping(closures []Closure, days calendar.Span) (Closure, bool) {
	for _, c := range closures {
		if c.Days.Overlaps(days) {
			return c, true
		}
	}
	return Closure{}, false
}
