package slots_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/slots"
)

// twoVisits is a day with two visits of an hour, and a plan in which they follow each other with one trainer.
func twoVisits() (*slots.Problem, *slots.Plan) {
	day := slots.Span{From: 540, To: 1020}
	both := []slots.Choice{{Of: 0}, {Of: 1, Points: 5}}
	v := slots.Visit{Minutes: 60, Trainers: both, Areas: both, Gates: both, Miss: 100, Windows: []slots.Window{{Span: day}}}
	p := &slots.Problem{Step: 15, Minutes: 1440, Pause: 15, Days: []slots.Day{{Open: day, Places: 2}}, Visits: []slots.Visit{v, v},
		Gates: []slots.Gate{{Spacing: 20, Passing: 10}, {Spacing: 20, Passing: 10}}}
	for range 2 {
		p.Trainers = append(p.Trainers, slots.Trainer{Free: []slots.Span{day}})
		p.Areas = append(p.Areas, slots.Area{Room: 1, Open: []slots.Span{day}})
	}
	return p, &slots.Plan{Slots: []slots.Slot{{Begin: 600}, {Begin: 675}}}
}

// TestCheck breaks one rule at a time.
func TestCheck(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(p *slots.Problem, plan *slots.Plan)
		says   string // "" for a plan that holds
	}{
		{"as it is", func(*slots.Problem, *slots.Plan) {}, ""},
		{"too few slots", func(_ *slots.Problem, x *slots.Plan) { x.Slots = x.Slots[:1] }, "1 slots for 2 visits"},
		{"off the grid", func(_ *slots.Problem, x *slots.Plan) { x.Slots[0].Begin = 601 }, "off the grid of 15"},
		{"before opening", func(_ *slots.Problem, x *slots.Plan) { x.Slots[0].Begin = 525 }, "not within the opening time of a day"},
		{"after closing", func(_ *slots.Problem, x *slots.Plan) { x.Slots[1].Begin = 975 }, "not within the opening time of a day"},
		{"up to closing", func(_ *slots.Problem, x *slots.Plan) { x.Slots[1].Begin = 960 }, ""},
		{"outside the window", func(p *slots.Problem, _ *slots.Plan) {
			p.Visits[0].Windows = []slots.Window{{Span: slots.Span{From: 600, To: 659}}, {Span: slots.Span{From: 659, To: 800}}}
		}, "not within a window of the owner"},
		{"not its trainer", func(p *slots.Problem, _ *slots.Plan) { p.Visits[0].Trainers = p.Visits[0].Trainers[1:] }, "trainer 0 is not among its choices"},
		{"no such area", func(_ *slots.Problem, x *slots.Plan) { x.Slots[0].Area = 2 }, "area 2 is not among its choices"},
		{"no such gate", func(_ *slots.Problem, x *slots.Plan) { x.Slots[0].Gate = -1 }, "gate -1 is not among its choices"},
		{"trainer away", func(p *slots.Problem, _ *slots.Plan) { p.Trainers[0].Free[0].To = 734 }, "trainer 0 is not free at minute 734"},
		{"trainer's spans touch", func(p *slots.Problem, _ *slots.Plan) { p.Trainers[0].Free = []slots.Span{{540, 630}, {630, 1020}} }, ""},
		{"area closed", func(p *slots.Problem, _ *slots.Plan) { p.Areas[0].Open[0].From = 601 }, "area 0 is not open at minute 600"},
		{"no pause", func(_ *slots.Problem, x *slots.Plan) { x.Slots[1].Begin = 660 }, "trainer 0 holds visits 1 and 0 (-1: fixed) with less than 15 minutes between"},
		{"no pause after what is fixed", func(p *slots.Problem, _ *slots.Plan) {
			p.Fixed = []slots.Fixed{{Span: slots.Span{From: 560, To: 586}, Trainer: 0, Area: -1, Gate: -1}}
		}, "trainer 0 holds visits 0 and -1"},
		{"a pause after what is fixed", func(p *slots.Problem, _ *slots.Plan) {
			p.Fixed = []slots.Fixed{{Span: slots.Span{From: 560, To: 585}, Trainer: 0, Area: -1, Gate: -1}}
		}, ""},
		{"area full", func(_ *slots.Problem, x *slots.Plan) { x.Slots[1] = slots.Slot{Begin: 630, Trainer: 1, Gate: 1} }, "2 visits in area 0 at minute 630"},
		{"room for two", func(p *slots.Problem, x *slots.Plan) {
			p.Areas[0].Room = 2
			x.Slots[1] = slots.Slot{Begin: 630, Trainer: 1, Gate: 1}
		}, ""},
		{"begin together", func(_ *slots.Problem, x *slots.Plan) { x.Slots[1] = slots.Slot{Begin: 615, Trainer: 1, Area: 1} }, "begin at gate 0 within 20 minutes"},
		{"end together", func(p *slots.Problem, x *slots.Plan) {
			p.Visits[1].Minutes = 45
			x.Slots[1] = slots.Slot{Begin: 630, Trainer: 1, Area: 1}
		}, "end at gate 0 within 20 minutes"},
		{"one comes as one goes", func(_ *slots.Problem, x *slots.Plan) { x.Slots[1] = slots.Slot{Begin: 660, Trainer: 1, Area: 1} }, "begin and end at gate 0 within 10 minutes"},
		{"an arrival at the gate", func(p *slots.Problem, _ *slots.Plan) {
			p.Fixed = []slots.Fixed{{Span: slots.Span{From: 651, To: 700}, Trainer: -1, Area: -1, Gate: 0}}
		}, "at gate 0 within"},
		{"no place left", func(p *slots.Problem, _ *slots.Plan) {
			p.Fixed = []slots.Fixed{{Span: slots.Span{From: 900, To: 960}, Trainer: -1, Area: -1, Gate: -1, Handover: true}}
		}, "3 handovers on day 0, which has 2 places"},
		{"fixed ones break rules among themselves", func(p *slots.Problem, _ *slots.Plan) {
			f := slots.Fixed{Span: slots.Span{From: 900, To: 960}}
			p.Fixed = []slots.Fixed{f, f, f}
		}, ""},
		{"not listed", func(_ *slots.Problem, x *slots.Plan) { x.Slots[0] = slots.None }, "visit 0 has no slot and is not listed as missing"},
		{"listed in vain", func(_ *slots.Problem, x *slots.Plan) { x.Missing = []slots.Missing{{Visit: 1}} }, "visit 1 has a slot and is listed as missing"},
		{"listed twice", func(_ *slots.Problem, x *slots.Plan) {
			x.Slots[0] = slots.None
			x.Missing = []slots.Missing{{}, {}}
		}, "listed as missing twice"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p, plan := twoVisits()
			tt.change(p, plan)
			require.NoError(t, p.Validate())
			value, err := slots.Check(p, plan)
			if tt.says != "" {
				require.ErrorContains(t, err, tt.says)
				return
			}
			require.NoError(t, err)
			require.GreaterOrEqual(t, solve(t, p, slots.Options{}).Value, value)
		})
	}
}

// TestCosts counts each cost by hand.
func TestCosts(t *testing.T) {
	t.Parallel()
	p, plan := twoVisits()
	p.Visits[0].Windows = []slots.Window{{Span: slots.Span{From: 540, To: 1020}, Points: 9}, {Span: slots.Span{From: 600, To: 660}, Points: 2}}
	plan.Slots[1] = slots.Slot{Begin: 675, Trainer: 1, Area: 1, Gate: 1}
	count := func() int {
		value, err := slots.Check(p, plan)
		require.NoError(t, err)
		return p.Worth() - value
	}
	require.Equal(t, 2+5+5+5, count())
	p.Visits[0].Kept = slots.Kept{Slot: slots.Slot{Begin: 615}, Moved: 7, Changed: 3}
	p.Visits[1].Kept = slots.Kept{Slot: slots.Slot{Begin: 675, Trainer: 1, Area: 1}, Moved: 70, Changed: 30}
	require.Equal(t, 17+7+30, count())
	plan.Slots[0], plan.Missing = slots.None, []slots.Missing{{}}
	require.Equal(t, 100+15+30, count())
}

// TestInvalid says for each problem that cannot be solved what is wrong with it.
func TestInvalid(t *testing.T) {
	t.Parallel()
	tests := []struct {
		change func(p *slots.Problem)
		says   string
	}{
		{func(p *slots.Problem) { p.Step = 0 }, "1440 minutes on a grid of 0"},
		{func(p *slots.Problem) { p.Minutes = 62*1440 + 1 }, "at most 89280 minutes (62 days)"},
		{func(p *slots.Problem) { p.Pause = -1 }, "a pause of -1 minutes"},
		{func(p *slots.Problem) { p.Days[0].Places = -1 }, "day 0: -1 handover places"},
		{func(p *slots.Problem) { p.Days[0].Open.To = 1441 }, "day 0, open: minutes 540 to 1441"},
		{func(p *slots.Problem) { p.Days = append(p.Days, p.Days[0]) }, "day 1 opens at minute 540, before day 0 has closed at 1020"},
		{func(p *slots.Problem) { p.Trainers[1].Free[0] = slots.Span{From: 9, To: 8} }, "trainer 1, free: minutes 9 to 8"},
		{func(p *slots.Problem) { p.Areas[1].Room = -1 }, "area 1: room for -1 visits"},
		{func(p *slots.Problem) { p.Areas[1].Open[0].From = -1 }, "area 1, open: minutes -1 to 1020"},
		{func(p *slots.Problem) { p.Gates[1].Passing = 21 }, "gate 1: spacing of 20 minutes, passing time of 21"},
		{func(p *slots.Problem) { p.Fixed = []slots.Fixed{{Span: slots.Span{From: 5, To: 5}}} }, "fixed visit 0 takes no time"},
		{func(p *slots.Problem) { p.Fixed = []slots.Fixed{{Span: slots.Span{From: 5, To: 6}, Area: 2}} }, "fixed visit 0: trainer 0, area 2, gate 0"},
		{func(p *slots.Problem) { p.Visits[1].Minutes = 0 }, "visit 1: 0 minutes"},
		{func(p *slots.Problem) { p.Visits[1].Least = 61 }, "visit 1: 60 minutes, 61 at least"},
		{func(p *slots.Problem) { p.Visits[1].Miss = 1_000_001 }, "visit 1: 1000001 points"},
		{func(p *slots.Problem) { p.Visits[1].Trainers = []slots.Choice{{Of: 2}} }, "visit 1: trainer 2 for 0 points is not of the site"},
		{func(p *slots.Problem) { p.Visits[1].Gates = []slots.Choice{{}, {}} }, "visit 1: gate 0 for 0 points is not of the site, stands there twice"},
		{func(p *slots.Problem) { p.Visits[1].OtherAreas = []int{1} }, "visit 1: other area 1 is not of the site, stands there twice, or is among the choices"},
		{func(p *slots.Problem) { p.Visits[1].Windows[0].To = 9999 }, "visit 1, window: minutes 540 to 9999"},
		{func(p *slots.Problem) { p.Visits[1].Windows[0].Points = -1 }, "visit 1: a window of -1 points"},
		{func(p *slots.Problem) { p.Visits = make([]slots.Visit, 1001) }, "1001 visits"},
		{func(p *slots.Problem) {
			p.Step = 1
			v := p.Visits[0]
			for range 300 {
				p.Visits = append(p.Visits, v)
			}
		}, "take a coarser grid than 1 minutes, fewer days or narrower windows"},
	}
	for _, tt := range tests {
		t.Run(tt.says, func(t *testing.T) {
			t.Parallel()
			p, _ := twoVisits()
			p.Visits[1].Windows = []slots.Window{p.Visits[1].Windows[0]}
			tt.change(p)
			_, err := slots.Solve(p, slots.Options{})
			require.ErrorIs(t, err, slots.ErrInvalid)
			require.ErrorContains(t, err, tt.says)
		})
	}
	p, plan := twoVisits()
	_, err := slots.Alternatives(p, plan, 2, 3)
	require.ErrorContains(t, err, "visit 2 of 2")
	_, err = slots.Remedies(p, plan, 0)
	require.ErrorContains(t, err, "visit 0 of 2 has a slot or does not exist")
	plan.Slots[0].Begin = 601
	_, err = slots.Alternatives(p, plan, 1, 3)
	require.ErrorContains(t, err, "off the grid")
	require.ErrorIs(t, err, slots.ErrInvalid)
}
