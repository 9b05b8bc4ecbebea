package planner

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
)

// randomHousing is a site of a few runs with stays in them, one of which, the dog's own, is to last longer.
func randomHousing(t *testing.T, seed uint64) (*mending, calendar.Date) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 15))
	mint := ids.SequenceMint(uint32(seed))
	first := calendar.MustDate("2027-03-01")
	m := &mending{today: first.AddDays(3), cases: map[ids.RequestID]enrollment.Case{}}
	site := facility.Site{ID: ids.SiteID(mint()), Code: "S", Zone: "America/Denver", RabiesWaitingDays: 28, FloorPercent: 100, CleanDownDays: r.IntN(3)}
	m.in = Inputs{Month: first.Month(), Horizon: calendar.Span{From: first, To: first.AddDays(90)}, Sites: []facility.Site{site}, Places: map[ids.SiteID][]facility.DayPlaces{}}
	for day := range m.in.Horizon.Dates() {
		m.in.Places[site.ID] = append(m.in.Places[site.ID], facility.DayPlaces{Day: day, Intake: 9, Handover: 9})
	}
	for i := range 3 + r.IntN(2) {
		run := facility.Run{ID: ids.RunID(mint()), SiteID: site.ID, Code: fmt.Sprintf("A%d", i), Row: "A", LengthMM: 1400 + 600*r.IntN(3), WidthMM: 1200, HeightMM: 2000}
		if r.IntN(5) == 0 {
			from := first.AddDays(10 + r.IntN(25))
			run.Closures = []facility.Closure{{RunID: run.ID, Days: calendar.Span{From: from, To: from.AddDays(1 + r.IntN(4))}}}
		}
		m.in.Runs = append(m.in.Runs, run)
		from := first
		for from.Before(first.AddDays(40)) {
			nights := calendar.Span{From: from, To: from.AddDays(5 + r.IntN(10))}
			c := enrollment.Case{Request: enrollment.Request{ID: ids.RequestID(mint()), Code: fmt.Sprintf("R%d-%d", i, len(m.in.Stays))}, Dog: enrollment.Dog{LengthMM: 500 + r.IntN(400), HeightMM: 500},
				Program: enrollment.Program{SessionsADay: 2, SessionMinutes: 15}}
			m.cases[c.Request.ID] = c
			m.in.StayCases = append(m.in.StayCases, c)
			if !closedDuring(run, nights, site.CleanDownDays) {
				m.in.Stays = append(m.in.Stays, Stay{ID: ids.StayID(mint()), RequestID: c.Request.ID, SiteID: site.ID, RunID: run.ID, Nights: nights, State: StayConfirmed})
			}
			from = nights.To.AddDays(site.CleanDownDays + r.IntN(12))
		}
	}
	m.stay = m.in.Stays[r.IntN(2)*r.IntN(len(m.in.Stays))]
	m.c = m.cases[m.stay.RequestID]
	var err error
	m.b, err = newBoard(m.without(m.stay))
	require.NoError(t, err)
	return m, m.stay.Nights.To.AddDays(1 + r.IntN(12))
}

func closedDuring(run facility.Run, nights calendar.Span, clean int) bool {
	for day := range (calendar.Span{From: nights.From, To: nights.To.AddDays(clean)}).Dates() {
		if run.ClosedOn(day) {
			return true
		}
	}
	return false
}

// fewestMoves tries every way to give other runs to at most most stays, and returns the least number that lets the dog stay; -1 for none.
// It knows spans only, and nothing of the board. Runs of a smaller class than promised are left out unless smaller is set.
func fewestMoves(m *mending, to calendar.Date, most int, smaller bool) int {
	stays := []Stay{}
	for _, s := range m.in.Stays {
		if s.ID == m.stay.ID {
			s.Nights.To = to
		}
		stays = append(stays, s)
	}
	for n := 0; n <= most; n++ {
		if tryMoves(m, stays, 0, n, smaller) {
			return n
		}
	}
	return -1
}

// tryMoves moves exactly left more stays, from number at on, in every way.
func tryMoves(m *mending, stays []Stay, at, left int, smaller bool) bool {
	clean := m.in.Sites[0].CleanDownDays
	if left == 0 {
		return allApart(stays, clean) && m.ownRunOpen(stays)
	}
	for i := at; i < len(stays); i++ {
		s := stays[i]
		if !s.Nights.From.After(m.today) {
			continue
		}
		dog := m.cases[s.RequestID].Dog
		for _, run := range m.in.Runs {
			if fits, _ := facility.FitsDog(run.Size(), facility.DogSize{LengthMM: dog.LengthMM, HeightMM: dog.HeightMM}, m.in.Sites[0].FloorRule()); !fits || run.ID == s.RunID || closedDuring(run, s.Nights, clean) {
				continue
			}
			if from := m.in.Runs[slices.IndexFunc(m.in.Runs, func(r facility.Run) bool { return r.ID == s.RunID })]; classRank(run.Class()) < classRank(from.Class()) && !smaller {
				continue
			}
			stays[i].RunID = run.ID
			if tryMoves(m, stays, i+1, left-1, smaller) {
				stays[i].RunID = s.RunID
				return true
			}
			stays[i].RunID = s.RunID
		}
	}
	return false
}

// ownRunOpen: where the dog keeps its run, that is open on the nights that are added.
func (m *mending) ownRunOpen(stays []Stay) bool {
	own := stays[slices.IndexFunc(stays, func(s Stay) bool { return s.ID == m.stay.ID })]
	run := m.in.Runs[slices.IndexFunc(m.in.Runs, func(r facility.Run) bool { return r.ID == own.RunID })]
	return own.RunID != m.stay.RunID || !closedDuring(run, calendar.Span{From: m.stay.Nights.To, To: own.Nights.To}, m.in.Sites[0].CleanDownDays)
}

func allApart(stays []Stay, clean int) bool {
	for i, a := range stays {
		for _, b := range stays[:i] {
			if a.RunID == b.RunID && a.Nights.From.Before(b.Nights.To.AddDays(clean)) && b.Nights.From.Before(a.Nights.To.AddDays(clean)) {
				return false
			}
		}
	}
	return true
}

// TestFewestRunMoves compares the moves that let a dog stay with every way there is, on small sites.
func TestFewestRunMoves(t *testing.T) {
	t.Parallel()
	byMoves := map[int]int{}
	for seed := range uint64(300) {
		m, to := randomHousing(t, seed)
		want := fewestMoves(m, to, mostRunMoves, false)
		noticed := want < 0
		if noticed {
			want = fewestMoves(m, to, mostRunMoves, true)
		}
		moves, against := m.housingFor(to)
		got := len(moves)
		if against.against() {
			require.NotEmpty(t, against.remedy)
			got = -1
		}
		byMoves[got]++
		require.Equal(t, want, got, "site %d", seed)
		require.Equal(t, noticed && got >= 0, smallerRuns(moves) > 0, "site %d: an owner notices something only where nothing else does", seed)
	}
	t.Logf("sites by stays moved: %v", byMoves)
	for n := -1; n <= 2; n++ {
		require.Positive(t, byMoves[n], "the sites hold every number of moves: %v", byMoves)
	}
}

func smallerRuns(moves []RunMove) (n int) {
	for _, m := range moves {
		if m.OwnerSees != "" {
			n++
		}
	}
	return n
}

// TestRunMovesHold requires that what is proposed keeps everybody apart, fits, opens no closed run and moves no dog that has arrived.
func TestRunMovesHold(t *testing.T) {
	t.Parallel()
	tried := 0
	for seed := range uint64(3000) {
		m, to := randomHousing(t, 1000+seed)
		moves, against := m.housingFor(to)
		if against.against() {
			continue
		}
		tried++
		stays := []Stay{}
		for _, s := range m.in.Stays {
			if s.ID == m.stay.ID {
				s.Nights.To = to
			}
			for _, move := range moves {
				if move.StayID != s.ID {
					continue
				}
				require.True(t, s.Nights.From.After(m.today), "a dog that is there stays in its run")
				require.Equal(t, s.RunID, move.From)
				s.RunID = move.To
			}
			stays = append(stays, s)
		}
		require.True(t, allApart(stays, m.in.Sites[0].CleanDownDays), "site %d", seed)
	}
	require.Greater(t, tried, 1000)
}
