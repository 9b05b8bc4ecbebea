package allocation_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawEasy adds soft levels to a drawn problem, each now and then.
func drawEasy(t *rapid.T, p *allocation.Problem) *allocation.Problem {
	level := func(name string, days, most, unit int) *allocation.Easy {
		if rapid.IntRange(0, 2).Draw(t, name+" level") == 0 {
			return nil
		}
		return &allocation.Easy{Upto: rapid.SliceOfN(rapid.IntRange(0, most), days, days).Draw(t, name+" up to"),
			Over: rapid.IntRange(0, 6).Draw(t, name+" over"), Unit: rapid.IntRange(0, unit).Draw(t, name+" unit")}
	}
	for i := range p.Sites {
		s := &p.Sites[i]
		s.EasyIntake, s.EasyHandover = level("intake", p.Days-1, 2, 1), level("handover", p.Days, 2, 1)
		if s.Minutes != nil {
			s.EasyMinutes = level("site minutes", p.Days-1, 9, 1)
		}
	}
	for i := range p.Trainers {
		p.Trainers[i].Easy = level("trainer", p.Days-1, 6, 3)
	}
	return p
}

func TestSoftLevelsAgainstBruteForce(t *testing.T) {
	t.Parallel()
	costs := 0
	rapid.Check(t, func(t *rapid.T) {
		p := drawEasy(t, drawProblem(t, 4))
		require.NoError(t, p.Validate())
		want := bruteForce(p)
		s, err := allocation.Solve(p, allocation.Options{Seed: rapid.Uint64().Draw(t, "seed"), Threads: rapid.IntRange(1, 3).Draw(t, "threads")})
		require.NoError(t, err)
		require.Equal(t, want, s.Value)
		require.Equal(t, want, s.Bound)
		require.Equal(t, allocation.Optimal, s.Status)
		if len(allocation.Overflow(p, s.Placements)) > 0 {
			costs++
		}
		value, bound, root, _ := allocation.SolveByBranching(p, 0)
		require.Equal(t, want, value)
		require.Equal(t, want, bound)
		require.GreaterOrEqual(t, root, want, "the bound at the root holds")
	})
	require.Positive(t, costs, "some optimum runs over a level")
}

// TestOverflowIsWhatCheckTakesOff compares two counts that share no code.
func TestOverflowIsWhatCheckTakesOff(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawEasy(t, drawProblem(t, 12))
		s, err := allocation.Solve(p, allocation.Options{Iterations: 500})
		require.NoError(t, err)
		hard := withoutLevels(p)
		worth, err := allocation.Check(hard, s.Placements)
		require.NoError(t, err)
		for _, o := range allocation.Overflow(p, s.Placements) {
			require.Positive(t, o.Units)
			worth -= o.Points
		}
		require.Equal(t, s.Value, worth)
	})
}

func withoutLevels(p *allocation.Problem) *allocation.Problem {
	q := *p
	q.Sites, q.Trainers = slices.Clone(p.Sites), slices.Clone(p.Trainers)
	for i := range q.Sites {
		s := &q.Sites[i]
		s.EasyIntake, s.EasyHandover, s.EasyMinutes = nil, nil, nil
	}
	for i := range q.Trainers {
		q.Trainers[i].Easy = nil
	}
	return &q
}

// eachLevel changes every soft level of a copy of p.
func eachLevel(p *allocation.Problem, change func(*allocation.Easy)) *allocation.Problem {
	q := *p
	q.Sites, q.Trainers = slices.Clone(p.Sites), slices.Clone(p.Trainers)
	copied := func(e **allocation.Easy) {
		if *e != nil {
			own := **e
			own.Upto = slices.Clone(own.Upto)
			change(&own)
			*e = &own
		}
	}
	for i := range q.Sites {
		copied(&q.Sites[i].EasyIntake)
		copied(&q.Sites[i].EasyHandover)
		copied(&q.Sites[i].EasyMinutes)
	}
	for i := range q.Trainers {
		copied(&q.Trainers[i].Easy)
	}
	return &q
}

func TestSoftLevelsMoveTheOptimumOneWay(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawEasy(t, drawProblem(t, 5))
		optimum := func(p *allocation.Problem) int64 {
			s, err := allocation.Solve(p, allocation.Options{})
			require.NoError(t, err)
			require.Equal(t, s.Value, s.Bound)
			return s.Value
		}
		now, free := optimum(p), optimum(withoutLevels(p))
		require.GreaterOrEqual(t, optimum(eachLevel(p, func(e *allocation.Easy) {
			for k := range e.Upto {
				e.Upto[k]++
			}
		})), now, "higher levels")
		require.GreaterOrEqual(t, optimum(eachLevel(p, func(e *allocation.Easy) { e.Over /= 2 })), now, "lower prices")
		require.Equal(t, free, optimum(eachLevel(p, func(e *allocation.Easy) { e.Over = 0 })), "a price of nothing is no level")

		// At a price no dog is worth, a level is a capacity: of places and minutes at once, for a trainer whose units are minutes.
		dear := eachLevel(p, func(e *allocation.Easy) { e.Over, e.Unit = 1000, 0 })
		capped := withoutLevels(p)
		lower := func(capacity []int, e *allocation.Easy) []int {
			out := slices.Clone(capacity)
			for k := range out {
				if e != nil && k < len(e.Upto) {
					out[k] = min(out[k], e.Upto[k])
				}
			}
			return out
		}
		for i := range capped.Sites {
			s, e := &capped.Sites[i], &dear.Sites[i]
			s.Intake, s.Handover = lower(s.Intake, e.EasyIntake), lower(s.Handover, e.EasyHandover)
			if s.Minutes != nil {
				s.Minutes = lower(s.Minutes, e.EasyMinutes)
			}
		}
		for i := range capped.Trainers {
			capped.Trainers[i].Minutes = lower(capped.Trainers[i].Minutes, dear.Trainers[i].Easy)
		}
		require.Equal(t, optimum(capped), optimum(dear))
	})
}

// TestFreeLevelsChangeNothing: levels that cost nothing leave the search as it was, move by move.
func TestFreeLevelsChangeNothing(t *testing.T) {
	t.Parallel()
	p := mustGenerate(t, "T", 3)
	o := allocation.Options{Seed: 4, Iterations: 20_000}
	before, err := allocation.Solve(p, o)
	require.NoError(t, err)
	allocation.EvenLoad(p, 50, 15, 0)
	after, err := allocation.Solve(p, o)
	require.NoError(t, err)
	require.Equal(t, before.Placements, after.Placements)
	require.Equal(t, before.Bound, after.Bound)
}

func TestSoftLevelsIgnoreOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawEasy(t, drawProblem(t, 6))
		p.Together = nil
		order := rapid.Permutation(indices(len(p.Dogs))).Draw(t, "order")
		q := *p
		q.Dogs = nil
		for _, d := range order {
			q.Dogs = append(q.Dogs, p.Dogs[d])
		}
		a, err := allocation.Solve(p, allocation.Options{Seed: 1})
		require.NoError(t, err)
		b, err := allocation.Solve(&q, allocation.Options{Seed: 2})
		require.NoError(t, err)
		require.Equal(t, a.Value, b.Value)
		require.Equal(t, a.Bound, b.Bound)
	})
}

// TestEvenLoadBySoftLevels: two trainers, two dogs, and one trainer slightly dearer: with a level, each gets one dog.
func TestEvenLoadBySoftLevels(t *testing.T) {
	t.Parallel()
	p := &allocation.Problem{Days: 2,
		Sites:    []allocation.Site{{Runs: []allocation.RunClass{{Capacity: []int{2}}}, Intake: []int{2}, Handover: []int{0, 2}}},
		Trainers: []allocation.Trainer{{Works: []bool{true}, Minutes: []int{100}, Dogs: []int{2}}, {Works: []bool{true}, Minutes: []int{100}, Dogs: []int{2}}}}
	for range 2 {
		p.Dogs = append(p.Dogs, allocation.Dog{Nights: 1, Placements: []allocation.Group{{Value: 20, Runs: []allocation.RunOption{{}},
			Trainers: []allocation.TrainerOption{{Trainer: 0, Minutes: 40}, {Trainer: 1, Penalty: 5, Minutes: 40}}}}})
	}
	s, err := allocation.Solve(p, allocation.Options{})
	require.NoError(t, err)
	require.Equal(t, int64(40), s.Value, "both with the first")
	allocation.EvenLoad(p, 50, 15, 3) // 3 units; a dog takes 3, two take 6
	s, err = allocation.Solve(p, allocation.Options{})
	require.NoError(t, err)
	require.Equal(t, int64(35), s.Value, "one each costs 5, three units over cost 9")
	require.Empty(t, allocation.Overflow(p, s.Placements))
	allocation.EvenLoad(p, 50, 15, 1)
	s, err = allocation.Solve(p, allocation.Options{})
	require.NoError(t, err)
	require.Equal(t, int64(37), s.Value)
	require.Equal(t, []allocation.Over{{Resource: allocation.Resource{Kind: allocation.TrainerMinutes, Class: -1}, Units: 3, Points: 3}},
		allocation.Overflow(p, s.Placements))

	allocation.EvenLoad(p, 0, 15, 30) // nobody is worth it
	s, err = allocation.Solve(p, allocation.Options{})
	require.NoError(t, err)
	require.Zero(t, s.Value)
	require.Empty(t, s.Placements)
	option := allocation.Blockers(p, nil, 0).Options[0]
	require.Empty(t, option.Blocks, "there is room")
	require.Equal(t, int64(90), option.Over, "but it costs more than the dog is worth")
}

func TestSoftLevelsInFiles(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawEasy(t, drawProblem(t, 3))
		var b, again bytes.Buffer
		require.NoError(t, allocation.WriteProblem(&b, p))
		q, err := allocation.ReadProblem(bytes.NewReader(b.Bytes()))
		require.NoError(t, err)
		require.Equal(t, p.Sites, q.Sites)
		require.Equal(t, p.Trainers, q.Trainers)
		require.NoError(t, allocation.WriteProblem(&again, q))
		require.Equal(t, b.String(), again.String())
	})
	for name, c := range map[string]struct{ old, new, want string }{
		"no level":        {`"easy":{"upto":[30,0]`, `"easy":{"upto":[30]`, "trainer 0, easy, upto has 1 numbers"},
		"negative":        {`"over":2,"unit":15`, `"over":-2,"unit":15`, "negative"},
		"too dear":        {`"over":2,"unit":15`, `"over":100000000000,"unit":15`, "too large"},
		"misspelt":        {`"unit":15`, `"units":15`, `unknown field "units"`},
		"unit of a site":  {`"easy_intake":{"upto":[1,1],"over":3}`, `"easy_intake":{"upto":[1,1],"over":3,"unit":2}`, "only a trainer's level may have a unit"},
		"no site minutes": {`"minutes":[60,60],"clean_down"`, `"clean_down"`, "easy_minutes but no minutes"},
		"beyond counting": {`"minutes":[60,0],"dogs":[2,0],"easy":{"upto":[30,0],"over":2`, `"minutes":[100000000,0],"dogs":[2,0],"easy":{"upto":[30,0],"over":100000000`, "lower over"},
	} {
		text := strings.Replace(smallEasy, c.old, c.new, 1)
		require.NotEqual(t, smallEasy, text, name)
		_, err := allocation.ReadProblem(strings.NewReader(text))
		require.ErrorIs(t, err, allocation.ErrInvalid, name)
		require.ErrorContains(t, err, c.want, name)
	}
	p, err := allocation.ReadProblem(strings.NewReader(smallEasy))
	require.NoError(t, err)
	require.Equal(t, &allocation.Easy{Upto: []int{30, 0}, Over: 2, Unit: 15}, p.Trainers[0].Easy)
	require.Equal(t, &allocation.Easy{Upto: []int{50, 50}, Over: 1}, p.Sites[0].EasyMinutes)
}

var smallEasy = strings.NewReplacer(`"dogs":[2,0]`, `"dogs":[2,0],"easy":{"upto":[30,0],"over":2,"unit":15}`,
	`"clean_down":1`, `"clean_down":1,"easy_intake":{"upto":[1,1],"over":3},"easy_minutes":{"upto":[50,50],"over":1}`).Replace(small)

// TestSoftLevelsInLargeParts: threads that share one plan, each on its own sites, together count what Check counts.
func TestSoftLevelsInLargeParts(t *testing.T) {
	t.Parallel()
	p := mustGenerate(t, "M", 6)
	allocation.EvenLoad(p, 70, 15, 1)
	for i := range p.Sites {
		p.Sites[i].EasyIntake = &allocation.Easy{Upto: slices.Repeat([]int{1}, p.Days), Over: 5}
	}
	var last allocation.Progress
	o := allocation.Options{Seed: 5, Threads: 2, Iterations: 12_000, Progress: func(x allocation.Progress) { last = x }}
	if raceDetector {
		o.Iterations /= 8
	}
	a, err := allocation.Solve(p, o)
	require.NoError(t, err)
	require.NotEmpty(t, allocation.Overflow(p, a.Placements))
	require.Equal(t, a.Value, last.Value, "the search counted its plan rightly")
	b, err := allocation.Solve(p, o)
	require.NoError(t, err)
	require.Equal(t, a.Placements, b.Placements)
	require.Equal(t, a.Bound, b.Bound)
	t.Logf("value %d, bound %d", a.Value, a.Bound)
}

// drawAny draws a problem, with soft levels as often as not.
func drawAny(t *rapid.T, mostDogs int) *allocation.Problem {
	p := drawProblem(t, mostDogs)
	if rapid.Bool().Draw(t, "soft levels") {
		drawEasy(t, p)
	}
	return p
}
