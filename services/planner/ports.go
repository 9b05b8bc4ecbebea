package planner

import (
	"context"
	"fmt"
	"slices"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// Names of the kinds of record that this package keeps.
const (
	KindPolicy = "policy"
	KindStays  = "stays"
)

// Ports returns the ways in and out of this package's records, in import order.
func Ports() []records.Port { return []records.Port{policyPort(), staysPort(), healthRulesPort()} }

func policyPort() records.Port {
	names := make([]string, 0, len(Terms()))
	for _, t := range Terms() {
		names = append(names, t.Name)
	}
	return records.Port{
		Kind: sheet.Kind{Name: KindPolicy, About: "Preferences in points", Key: []string{"term"}, Columns: []sheet.Column{
			{Name: "term", Form: sheet.FormChoice, OneOf: names, Required: true, Example: TermPriority, About: "what the points are given or taken for"},
			{Name: "points", Form: sheet.FormWhole, Required: true, Min: leastPoints, Max: mostPoints, Example: "15", About: "points; for \"easy day\" percent"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			changes := Policy{}
			var wrong []records.Wrong
			for _, row := range rows {
				term, points := row.Text("term"), row.Int("points")
				if least, most := limits(term); points < least || points > most {
					wrong = append(wrong, row.Wrong("points", fmt.Sprintf("is out of range for %q", term), fmt.Sprintf("give %d to %d", least, most)))
					continue
				}
				changes[term] = points
			}
			return wrong, putPolicy(ctx, tx, changes)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			policy, err := readPolicy(ctx, db)
			var out [][]string
			for _, t := range Terms() {
				out = append(out, []string{t.Name, sheet.Int(policy[t.Name])})
			}
			return out, err
		},
	}
}

// statesInFiles are the states that a file may give a stay; replaced ones are history.
var statesInFiles = []string{StayPublished, StayConfirmed, StayInResidence, StayGoneHome, StayCancelled}

func staysPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindStays, About: "Requests that have a place: promises made before, and dogs that are here", Key: []string{"request"}, Columns: []sheet.Column{
			{Name: "request", Form: sheet.FormCode, Required: true, Refers: "requests", Example: "R-1001", About: "code of the request"},
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: "sites", Example: "HILL", About: "code of the site"},
			{Name: "run", Form: sheet.FormCode, Required: true, Refers: "runs", Example: "A1", About: "number of the run"},
			{Name: "trainer", Form: sheet.FormCode, Required: true, Refers: "trainers", Example: "T-07", About: "code of the trainer"},
			{Name: "arrival", Form: sheet.FormDay, Required: true, Example: "2027-02-22", About: "arrival day"},
			{Name: "graduation", Form: sheet.FormDay, Required: true, Example: "2027-03-08", About: "graduation day"},
			{Name: "state", Form: sheet.FormChoice, OneOf: statesInFiles, Required: true, Example: StayConfirmed, About: "how far it is"},
		}},
		Within:   map[string]string{"run": "site"},
		Together: true,
		Check: func(row records.Row) []records.Wrong {
			if !row.Day("arrival").Before(row.Day("graduation")) {
				return []records.Wrong{row.Wrong("graduation", "is not after the arrival day", "write the day on which the dog goes home")}
			}
			return nil
		},
		Put: putStayRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			return listStayRows(ctx, db)
		},
	}
}

// putStayRows writes stays. A request's live stay is changed, with an entry in the audit trail, when the row differs from it.
// Two stays that would share a run on a night are told as wrong.
func putStayRows(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
	// What is published meanwhile would be seen by the database alone, which cannot say which row is in its way.
	if err := holdPublishing(ctx, tx); err != nil {
		return nil, err
	}
	current, err := listCurrentStays(ctx, tx)
	if err != nil {
		return nil, err
	}
	before := make(map[ids.RequestID]Stay, len(current))
	for _, s := range current {
		before[s.RequestID] = s
	}
	stays := make([]Stay, len(rows))
	for i, row := range rows {
		stays[i] = Stay{ID: ids.StayID(in.Mint()), RequestID: ids.RequestID(row.Ref("request")), SiteID: ids.SiteID(row.Ref("site")), RunID: ids.RunID(row.Ref("run")),
			TrainerID: ids.TrainerID(row.Ref("trainer")), Nights: calendar.Span{From: row.Day("arrival"), To: row.Day("graduation")}, State: row.Text("state")}
	}
	fits, wrong := placeStays(current, rows, stays)
	var (
		ended, begun []Stay
		onlyState    = map[string][]Stay{}
	)
	for _, stay := range fits {
		switch old, known := before[stay.RequestID]; {
		case known && sameStay(old, stay):
			if old.State != stay.State {
				onlyState[stay.State] = append(onlyState[stay.State], old)
			}
		case known && isLive(old.State):
			ended = append(ended, old)
			begun = append(begun, stay)
		default:
			begun = append(begun, stay)
		}
	}
	who := author{by: in.By, at: in.Now, mint: in.Mint}
	if err := setStayStates(ctx, tx, who, ended, StayReplaced, "changed by import"); err != nil {
		return nil, err
	}
	// Stays that end come first: they give up runs that others take.
	for _, state := range []string{StayCancelled, StayGoneHome, StayInResidence, StayConfirmed, StayPublished} {
		if err := setStayStates(ctx, tx, who, onlyState[state], state, "import"); err != nil {
			return nil, err
		}
	}
	return wrong, insertStays(ctx, tx, who, ids.PlanID{}, begun, "import")
}

// placeStays returns the stays that share no run on a night with another, and what is wrong with the others. A stay replaces the
// one that its request has. When it is refused that one stands, and may be in the way of a stay that was let through: so the
// whole is done again until nothing changes.
func placeStays(current []Stay, rows []records.Row, stays []Stay) (fits []Stay, wrong []records.Wrong) {
	stands := make(map[ids.RequestID]bool, len(current))
	for _, s := range current {
		stands[s.RequestID] = isLive(s.State)
	}
	refused := map[ids.RequestID]calendar.Span{}
	for again := true; again; {
		again = false
		book := newRunBook(current, stays, refused)
		for _, stay := range stays {
			if _, done := refused[stay.RequestID]; done || !isLive(stay.State) {
				continue
			}
			other, clash := book.clash(stay)
			if !clash {
				book.add(stay)
				continue
			}
			refused[stay.RequestID] = other
			again = again || stands[stay.RequestID]
		}
	}
	for i, stay := range stays {
		if other, ok := refused[stay.RequestID]; ok {
			wrong = append(wrong, rows[i].Wrong("run", fmt.Sprintf("is taken from %s to %s by another dog", other.From, other.To), "give the dog another run, or correct the days"))
			continue
		}
		fits = append(fits, stay)
	}
	return fits, wrong
}

func isLive(state string) bool {
	return slices.Contains([]string{StayPublished, StayConfirmed, StayInResidence, StayGoneHome}, state)
}

func sameStay(a, b Stay) bool {
	return a.SiteID == b.SiteID && a.RunID == b.RunID && a.TrainerID == b.TrainerID && a.Nights == b.Nights
}

// runBook knows which nights of each run are taken, for telling a clash in words before the database refuses it.
type runBook map[ids.RunID][]calendar.Span

// newRunBook holds the live stays that none of the coming ones replaces; a coming one that was refused replaces none.
func newRunBook(current []Stay, coming []Stay, refused map[ids.RequestID]calendar.Span) runBook {
	replaced := make(map[ids.RequestID]bool, len(coming))
	for _, s := range coming {
		if _, ok := refused[s.RequestID]; !ok {
			replaced[s.RequestID] = true
		}
	}
	book := runBook{}
	for _, s := range current {
		if !replaced[s.RequestID] && isLive(s.State) {
			book.add(s)
		}
	}
	return book
}

func (b runBook) add(s Stay) { b[s.RunID] = append(b[s.RunID], s.Nights) }

func (b runBook) clash(s Stay) (calendar.Span, bool) {
	for _, nights := range b[s.RunID] {
		if nights.Overlaps(s.Nights) {
			return nights, true
		}
	}
	return calendar.Span{}, false
}

// listStayRows returns the current stay of every request, by arrival and code.
func listStayRows(ctx context.Context, db postgres.DB) ([][]string, error) {
	stays, err := listCurrentStays(ctx, db)
	if err != nil {
		return nil, err
	}
	requests := make([]ids.RequestID, len(stays))
	for i, s := range stays {
		requests[i] = s.RequestID
	}
	n, err := readNames(ctx, db, requests)
	if err != nil {
		return nil, err
	}
	out := make([][]string, len(stays))
	for i, s := range stays {
		out[i] = []string{n.cases[s.RequestID].Request.Code, n.sites[s.SiteID], n.runs[s.RunID].Code, n.trainers[s.TrainerID],
			sheet.Day(s.Nights.From), sheet.Day(s.Nights.To), s.State}
	}
	slices.SortFunc(out, func(a, b []string) int { return firstOf(compareText(a[4], b[4]), compareText(a[0], b[0])) })
	return out, nil
}
