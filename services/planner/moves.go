package planner

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// A study of moves says how much more a month could hold if promises moved: none, one, two and so on. A promise moves when its site,
// arrival day or trainer changes, or when it is given up. Points are those of the policy without what it gives for staying put: that
// is the price of a move, and whoever reads the study wants to see what a move is worth before its price is taken off. What the
// policy gives for placing a promised request at all counts, so giving up a promise has to bring more than that.

// States of a study.
const (
	StudyWorking   = "working"
	StudyDone      = "done"
	StudyCancelled = "cancelled"
	StudyFailed    = "failed"
)

// MoveStudy is a study with all it says.
type MoveStudy struct {
	ID     ids.MoveStudyID `db:"id"`
	Month  calendar.Month  `db:"month"`
	State  string          `db:"state"`
	MadeAt time.Time       `db:"made_at"`
	MadeBy string          `db:"made_by"`
	// Moves are the numbers of moves that are studied, ascending, from 0.
	Moves           []int      `db:"moves"`
	SecondsLimit    int        `db:"seconds_limit"`
	IterationsLimit int        `db:"iterations_limit"`
	Seed            int64      `db:"seed"`
	JobID           *int64     `db:"job_id"`
	Attempt         int        `db:"attempt"`
	Phase           string     `db:"phase"`
	PercentDone     int        `db:"percent_done"`
	Seconds         float64    `db:"seconds"`
	Fingerprint     string     `db:"fingerprint"`
	Result          MoveResult `db:"result"`
	Failure         string     `db:"failure"`
}

// MoveResult is what a study found, in the words and codes that people read.
type MoveResult struct {
	Requests int             `json:"requests"`
	Promises int             `json:"promises"`
	Points   []MovePoint     `json:"points"`
	Broken   []BrokenPromise `json:"broken"`
}

// MovePoint is the best plan found with at most Moves moves; see the proto for the fields.
type MovePoint struct {
	Moves        int      `json:"moves"`
	Moved        int      `json:"moved"`
	Found        bool     `json:"found"`
	Impossible   bool     `json:"impossible"`
	Placed       int      `json:"placed"`
	Points       int64    `json:"points"`
	Bound        int64    `json:"bound"`
	PolicyPoints int64    `json:"policy_points"`
	List         []Move   `json:"list"`
	Gained       []string `json:"gained"`
	Lost         []string `json:"lost"`
}

// Stand is where a promise stands, or would.
type Stand struct {
	Site    string `json:"site"`
	Arrival string `json:"arrival"`
	Trainer string `json:"trainer"`
}

// Move is one promise that moves; To is absent when it is given up.
type Move struct {
	Request string `json:"request"`
	Dog     string `json:"dog"`
	From    Stand  `json:"from"`
	To      *Stand `json:"to,omitempty"`
}

// BrokenPromise is a promise that cannot stay as it is whatever is decided.
type BrokenPromise struct {
	Request  string `json:"request"`
	Dog      string `json:"dog"`
	Promised Stand  `json:"promised"`
	Reason   string `json:"reason"`
}

// moveTask is a month's problem without points for staying put, and the promises that could stay.
type moveTask struct {
	*task
	// policy is the whole one; the task's own lacks what it gives for staying put.
	policy   Policy
	promised []allocation.Placement
	broken   []BrokenPromise
}

func newMoveTask(in Inputs) (*moveTask, error) {
	bare := in
	bare.Policy = maps.Clone(in.Policy)
	bare.Policy[TermSameDay], bare.Policy[TermSameHands] = 0, 0
	t, err := buildTask(bare)
	if err != nil {
		return nil, err
	}
	m := &moveTask{task: t, policy: in.Policy, broken: []BrokenPromise{}}
	for dog := range t.candidates {
		stay, promised := t.board.movable[t.candidates[dog].Request.ID]
		if !promised {
			continue
		}
		if pl, ok := t.promise(dog, stay); ok {
			m.promised = append(m.promised, pl)
			continue
		}
		c := &t.candidates[dog]
		m.broken = append(m.broken, BrokenPromise{Request: c.Request.Code, Dog: c.Dog.Name, Promised: m.standOf(stay), Reason: m.brokenWords(c, stay)})
	}
	slices.SortFunc(m.broken, func(a, b BrokenPromise) int { return compareText(a.Request, b.Request) })
	return m, nil
}

// promise is the placement that was promised to a dog, if its site, day and trainer are still a choice; in another run if the
// promised one is not.
func (t *task) promise(dog int, stay Stay) (allocation.Placement, bool) {
	for _, one := range t.candidates[dog].choices {
		s := &t.board.sites[one.site]
		if s.site.ID != stay.SiteID || one.arrival != t.board.day(stay.Nights.From) {
			continue
		}
		trainer := slices.IndexFunc(one.trainers, func(i int) bool { return t.board.trainers[i].trainer.ID == stay.TrainerID })
		if trainer < 0 || len(one.groups) == 0 {
			continue
		}
		run := one.groups[0]
		for _, g := range one.groups {
			if s.groups[g].holds(stay.RunID) {
				run = g
			}
		}
		return allocation.Placement{Dog: dog, Site: one.site, Arrival: one.arrival, Run: run, Trainer: one.trainers[trainer]}, true
	}
	return allocation.Placement{}, false
}

func (g *runGroup) holds(id ids.RunID) bool {
	for i := range g.runs {
		if g.runs[i].ID == id {
			return true
		}
	}
	return false
}

// standOf writes a stay in codes.
func (m *moveTask) standOf(s Stay) Stand {
	out := Stand{Arrival: s.Nights.From.String()}
	if at, known := m.board.siteAt[s.SiteID]; known {
		out.Site = m.board.sites[at].site.Code
	}
	for _, t := range m.board.in.Trainers {
		if t.ID == s.TrainerID {
			out.Trainer = t.Code
		}
	}
	return out
}

// brokenWords says why a promise cannot stay: a hard rule against its site and day, or else its trainer.
func (m *moveTask) brokenWords(c *candidate, stay Stay) string {
	stand := m.standOf(stay)
	for _, r := range c.refusals {
		if (r.Site == stand.Site || r.Site == "") && r.First <= stand.Arrival && stand.Arrival <= r.Last {
			return r.Reason
		}
	}
	for _, one := range c.choices {
		if m.board.sites[one.site].site.Code == stand.Site && m.board.date(one.arrival).String() == stand.Arrival {
			return fmt.Sprintf("trainer %s does not suit it or is not there enough any more", stand.Trainer)
		}
	}
	return "its site or its arrival day is no longer among what its request accepts"
}

// result turns a curve into what people read.
func (m *moveTask) result(curve []allocation.TradeOffPoint) MoveResult {
	out := MoveResult{Requests: len(m.candidates) + len(m.settled), Promises: len(m.promised), Broken: m.broken, Points: []MovePoint{}}
	var none map[int]allocation.Placement
	for i, x := range curve {
		at := byDog(x.Placements)
		if i == 0 && x.Found {
			none = at
		}
		out.Points = append(out.Points, m.point(x, at, none))
	}
	return out
}

func byDog(placements []allocation.Placement) map[int]allocation.Placement {
	at := make(map[int]allocation.Placement, len(placements))
	for _, pl := range placements {
		at[pl.Dog] = pl
	}
	return at
}

// point writes one point; none is the plan without a move, or nil.
func (m *moveTask) point(x allocation.TradeOffPoint, at, none map[int]allocation.Placement) MovePoint {
	out := MovePoint{Moves: x.Moves, Moved: x.Moved, Found: x.Found, Impossible: x.Impossible, Points: x.Value, Bound: x.Bound,
		PolicyPoints: x.Value, List: []Move{}, Gained: []string{}, Lost: []string{}}
	if !x.Found {
		return out
	}
	out.Placed = len(x.Placements) + len(m.settled)
	for dog := range m.candidates {
		code := m.candidates[dog].Request.Code
		_, here := at[dog]
		_, there := none[dog]
		switch {
		case none == nil:
		case here && !there:
			out.Gained = append(out.Gained, code)
		case there && !here:
			out.Lost = append(out.Lost, code)
		}
	}
	for _, pl := range x.Placements {
		out.PolicyPoints += m.stayingPoints(pl)
	}
	for _, want := range m.promised {
		pl, here := at[want.Dog]
		if here && pl.Site == want.Site && pl.Arrival == want.Arrival && pl.Trainer == want.Trainer {
			continue
		}
		c := &m.candidates[want.Dog]
		move := Move{Request: c.Request.Code, Dog: c.Dog.Name, From: m.stand(want)}
		if here {
			to := m.stand(pl)
			move.To = &to
		}
		out.List = append(out.List, move)
	}
	slices.Sort(out.Gained)
	slices.Sort(out.Lost)
	slices.SortFunc(out.List, func(a, b Move) int { return compareText(a.Request, b.Request) })
	return out
}

func (m *moveTask) stand(pl allocation.Placement) Stand {
	return Stand{Site: m.board.sites[pl.Site].site.Code, Arrival: m.board.date(pl.Arrival).String(), Trainer: m.board.trainers[pl.Trainer].trainer.Code}
}

// stayingPoints are what the whole policy gives a placement for staying put, which the study's points leave out.
func (m *moveTask) stayingPoints(pl allocation.Placement) int64 {
	stay, promised := m.board.movable[m.candidates[pl.Dog].Request.ID]
	if !promised {
		return 0
	}
	points := 0
	if stay.SiteID == m.board.sites[pl.Site].site.ID && m.board.day(stay.Nights.From) == pl.Arrival {
		points += m.policy[TermSameDay]
	}
	if stay.TrainerID == m.board.trainers[pl.Trainer].trainer.ID {
		points += m.policy[TermSameHands]
	}
	return int64(points)
}
