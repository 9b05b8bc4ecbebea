package allocation_test

import (
	"slices"
	"testing"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// everyPlan visits every plan that keeps the rules, leaving it to Check to say which do.
func everyPlan(p *allocation.Problem, visit func(plan []allocation.Placement, value int64)) {
	var plan []allocation.Placement
	loose := *p
	loose.Together = nil
	var try func(d int)
	try = func(d int) {
		if d == len(p.Dogs) {
			if v, err := allocation.Check(p, plan); err == nil {
				visit(plan, v)
			}
			return
		}
		try(d + 1)
		for _, g := range p.Dogs[d].Placements {
			for _, r := range g.Runs {
				for _, tr := range g.Trainers {
					plan = append(plan, allocation.Placement{Dog: d, Site: g.Site, Arrival: g.Arrival, Run: r.Class, Trainer: tr.Trainer})
					if _, err := allocation.Check(&loose, plan); err == nil {
						try(d + 1)
					}
					plan = plan[:len(plan)-1]
				}
			}
		}
	}
	try(0)
}

func places(plan []allocation.Placement, dog int) bool {
	return slices.ContainsFunc(plan, func(pl allocation.Placement) bool { return pl.Dog == dog })
}

// keeps reports whether a plan has every placement of another.
func keeps(plan, other []allocation.Placement) bool {
	for _, pl := range other {
		if !slices.Contains(plan, pl) {
			return false
		}
	}
	return true
}

// bruteJudge is what Judge should find, by trying every plan: whether one keeps all placements and adds the dog for more value,
// and whether one has everybody and the dog.
func bruteJudge(p *allocation.Problem, plan []allocation.Placement, dog int) (kept, rearranged bool) {
	before := map[int]bool{}
	for _, pl := range plan {
		before[pl.Dog] = true
	}
	was, _ := allocation.Check(p, plan)
	everyPlan(p, func(other []allocation.Placement, value int64) {
		if !places(other, dog) {
			return
		}
		all := true
		for d := range before {
			all = all && places(other, d)
		}
		rearranged = rearranged || all
		// Nobody else comes in: only the dog and its household are new.
		size := len(plan) + 1
		for _, dogs := range p.Together {
			if slices.Contains(dogs, dog) {
				size = len(plan) + len(dogs)
			}
		}
		kept = kept || keeps(other, plan) && len(other) == size && value > was
	})
	return kept, rearranged
}

// drawBusy draws a small problem in which most dogs could come and not all can, and says whether it has soft levels.
func drawBusy(t *rapid.T) (p *allocation.Problem, soft bool) {
	p = drawProblem(t, 0)
	raise := func(list []int, least int) {
		for k := range list {
			list[k] = max(list[k], least)
		}
	}
	for i := range p.Sites {
		raise(p.Sites[i].Intake, 2)
		raise(p.Sites[i].Handover, 2)
		raise(p.Sites[i].Minutes, 4)
		for _, run := range p.Sites[i].Runs {
			raise(run.Capacity, 2)
		}
	}
	for i := range p.Trainers {
		raise(p.Trainers[i].Minutes, 3)
		raise(p.Trainers[i].Dogs, 3)
	}
	p.Trainers[0].Site = 0
	for range 3 {
		d := drawDog(t, p)
		d.Placements = d.Placements[:min(4, len(d.Placements))]
		p.Dogs = append(p.Dogs, d)
	}
	if rapid.Bool().Draw(t, "household") {
		p.Together = [][]int{{0, len(p.Dogs) - 1}}
	}
	if soft = rapid.Bool().Draw(t, "soft levels"); soft {
		drawEasy(t, p)
	}
	return p, soft
}

// drawPlan solves a drawn problem and takes some dogs out again, so that many wait.
func drawPlan(t *rapid.T, p *allocation.Problem) []allocation.Placement {
	s, err := allocation.Solve(p, allocation.Options{})
	require.NoError(t, err)
	out := map[int]bool{}
	for d := range p.Dogs {
		if rapid.IntRange(0, 3).Draw(t, "taken out") == 0 {
			out[d] = true
		}
	}
	for _, dogs := range p.Together {
		for _, d := range dogs {
			out[d] = out[dogs[0]]
		}
	}
	return slices.DeleteFunc(s.Placements, func(pl allocation.Placement) bool { return out[pl.Dog] })
}

// drawExtra draws more of some resource, over some days.
func drawExtra(t *rapid.T, p *allocation.Problem) []allocation.Extra {
	n := func(name string, a, b int) int { return rapid.IntRange(a, b).Draw(t, name) }
	r := allocation.Resource{Kind: allocation.ResourceKind(n("kind", 0, 5)), Class: -1, Trainer: -1, Site: n("site", 0, len(p.Sites)-1)}
	switch r.Kind {
	case allocation.RunNight:
		r.Class = n("class", 0, len(p.Sites[r.Site].Runs)-1)
	case allocation.TrainerMinutes, allocation.TrainerDogs:
		r.Trainer = n("trainer", 0, len(p.Trainers)-1)
		r.Site = p.Trainers[r.Trainer].Site
	}
	var out []allocation.Extra
	amount := n("amount", 1, 6)
	for k := n("first", 0, p.Days-2); k < p.Days-1; k++ {
		r.Day = k
		out = append(out, allocation.Extra{Resource: r, Amount: amount})
	}
	return out
}

func TestJudgeAgainstBruteForce(t *testing.T) {
	t.Parallel()
	var kept, moved, never int
	rapid.Check(t, func(t *rapid.T) {
		p, _ := drawBusy(t)
		plan := drawPlan(t, p)
		for dog := range p.Dogs {
			if places(plan, dog) {
				continue
			}
			changes := []allocation.Change{{}, {Extras: drawExtra(t, p)}, {Extras: append(drawExtra(t, p), drawExtra(t, p)...)},
				{Groups: map[int][]allocation.Group{dog: drawDogOf(t, p, p.Dogs[dog].Nights).Placements}}}
			verdicts, err := allocation.Judge(p, plan, dog, changes, allocation.Options{})
			require.NoError(t, err)
			for i, v := range verdicts {
				q, err := changes[i].Apply(p)
				require.NoError(t, err)
				require.NoError(t, q.Validate())
				wantKept, wantMoved := bruteJudge(q, plan, dog)
				require.Equal(t, wantKept, v.Kept == allocation.Found, "change %d: kept is %v", i, v.Kept)
				require.Equal(t, wantKept || wantMoved, v.Rearranged == allocation.Found, "change %d: rearranged is %v", i, v.Rearranged)
				if v.Rearranged == allocation.Found {
					require.True(t, places(v.Plan, dog))
					before, _ := allocation.Check(p, plan)
					after, err := allocation.Check(q, v.Plan)
					require.NoError(t, err)
					require.Equal(t, after-before, v.Gain)
				}
				switch {
				case wantKept:
					kept++
				case wantMoved:
					moved++
				default:
					never++
				}
			}
		}
	})
	t.Logf("counts: kept %d, moved %d, never %d", kept, moved, never)
	require.Positive(t, kept)
	require.Positive(t, moved)
	require.Positive(t, never)
}

// drawDogOf draws groups for a dog of so many nights.
func drawDogOf(t *rapid.T, p *allocation.Problem, nights int) allocation.Dog {
	d := drawDog(t, p)
	d.Nights = nights
	d.Placements = slices.DeleteFunc(d.Placements, func(g allocation.Group) bool { return g.Arrival+nights > p.Days-1 })
	return d
}

// plenty gives far more of some kinds of resource everywhere; trainer minutes are their sites' minutes as well.
func plenty(p *allocation.Problem, kinds map[allocation.ResourceKind]bool) allocation.Change {
	var c allocation.Change
	add := func(r allocation.Resource) {
		if kinds[r.Kind] {
			c.Extras = append(c.Extras, allocation.Extra{Resource: r, Amount: 1000})
		}
	}
	for k := range p.Days {
		for s := range p.Sites {
			at := allocation.Resource{Site: s, Class: -1, Trainer: -1, Day: k}
			at.Kind = allocation.HandoverPlace
			add(at)
			if k == p.Days-1 {
				continue
			}
			for _, kind := range []allocation.ResourceKind{allocation.IntakePlace, allocation.SiteMinutes} {
				at.Kind = kind
				add(at)
			}
			at.Kind = allocation.RunNight
			for at.Class = range p.Sites[s].Runs {
				add(at)
			}
		}
		for tr := range p.Trainers {
			at := allocation.Resource{Site: p.Trainers[tr].Site, Class: -1, Trainer: tr, Day: k}
			if k < p.Days-1 && p.Trainers[tr].Works[k] {
				at.Kind = allocation.TrainerMinutes
				add(at)
				at.Kind = allocation.TrainerDogs
				add(at)
			}
		}
	}
	return c
}

// TestAdmissions: every change that is offered admits the dog, by brute force; with one minute less nothing does; and a kind of
// resource of which plenty would admit the dog is among those offered.
func TestAdmissions(t *testing.T) {
	t.Parallel()
	var least, offered, none int
	rapid.Check(t, func(t *rapid.T) {
		p, _ := drawBusy(t)
		plan := drawPlan(t, p)
		w, err := allocation.NewWeigher(p, plan)
		require.NoError(t, err)
		for dog := range p.Dogs {
			if places(plan, dog) {
				continue
			}
			var offers []allocation.Offer
			for i := range 3 {
				o := allocation.Offer{Kind: i / 2, Size: rapid.IntRange(1, 3).Draw(t, "size")}
				for _, d := range w.Household(dog) {
					o.Groups = append(o.Groups, newTo(p.Dogs[d].Placements, drawDogOf(t, p, p.Dogs[d].Nights).Placements))
				}
				offers = append(offers, o)
			}
			admissions, err := w.Admissions(dog, offers)
			require.NoError(t, err)
			for _, a := range admissions {
				require.True(t, a.Proven)
				q, err := a.Change.Apply(p)
				require.NoError(t, err)
				kept, _ := bruteJudge(q, plan, dog)
				require.True(t, kept, "%+v", a)
				if a.Offer >= 0 {
					offered++
				}
				if len(a.Lacks) == 1 && (a.Lacks[0].Kind == allocation.TrainerMinutes || a.Lacks[0].Kind == allocation.SiteMinutes) {
					least++
					requireLeast(t, p, plan, w.Household(dog), offers, a)
				}
			}
			if len(admissions) == 0 {
				none++
			}
			requireComplete(t, p, plan, dog, admissions)
		}
	})
	t.Logf("counts: least %d, offered %d, none %d", least, offered, none)
	require.Positive(t, least)
	require.Positive(t, offered)
	require.Positive(t, none)
}

// requireLeast tries an admission with one minute less, with its own offer and with each other that asks no more.
func requireLeast(t *rapid.T, p *allocation.Problem, plan []allocation.Placement, dogs []int, offers []allocation.Offer, a allocation.Admission) {
	less := allocation.Change{Extras: slices.Clone(a.Change.Extras)}
	for i := range less.Extras {
		less.Extras[i].Amount--
	}
	tried := []allocation.Offer{{Groups: make([][]allocation.Group, len(dogs))}}
	if a.Offer >= 0 {
		own := offers[a.Offer]
		tried = slices.DeleteFunc(slices.Clone(offers), func(o allocation.Offer) bool { return o.Kind != own.Kind || o.Size > own.Size })
	}
	for _, o := range tried {
		less.Groups = map[int][]allocation.Group{}
		for j, d := range dogs {
			less.Groups[d] = o.Groups[j]
		}
		q, err := less.Apply(p)
		require.NoError(t, err)
		kept, _ := bruteJudge(q, plan, dogs[0])
		require.False(t, kept, "one minute less would do: %+v", a)
	}
}

// newTo leaves out of some groups those for a site and day that others are for.
func newTo(others, groups []allocation.Group) []allocation.Group {
	return slices.DeleteFunc(slices.Clone(groups), func(g allocation.Group) bool {
		return slices.ContainsFunc(others, func(o allocation.Group) bool { return o.Site == g.Site && o.Arrival == g.Arrival })
	})
}

func requireComplete(t *rapid.T, p *allocation.Problem, plan []allocation.Placement, dog int, admissions []allocation.Admission) {
	for kind := allocation.RunNight; kind <= allocation.TrainerDogs; kind++ {
		kinds := map[allocation.ResourceKind]bool{kind: true}
		if kind == allocation.TrainerMinutes {
			kinds[allocation.SiteMinutes] = true
		}
		q, err := plenty(p, kinds).Apply(p)
		require.NoError(t, err)
		kept, _ := bruteJudge(q, plan, dog)
		among := slices.ContainsFunc(admissions, func(a allocation.Admission) bool {
			for _, l := range a.Lacks {
				if !kinds[l.Kind] {
					return false
				}
			}
			return a.Offer < 0
		})
		require.Equal(t, kept, among, "plenty of kind %d; offered: %+v", kind, admissions)
	}
}

func TestChangeByHand(t *testing.T) {
	t.Parallel()
	p := inn()
	plan := []allocation.Placement{at(1, 0, 1), at(2, 0, 0)}
	w, err := allocation.NewWeigher(p, plan)
	require.NoError(t, err)
	// Dog 0 lacks 5 minutes of cover on day 1 if it comes then; on day 0 it lacks an intake place and more besides.
	admissions, err := w.Admissions(0, nil)
	require.NoError(t, err)
	require.Len(t, admissions, 1)
	a := admissions[0]
	require.Equal(t, []allocation.Lack{{Resource: allocation.Resource{Kind: allocation.SiteMinutes, Class: -1, Trainer: -1, Day: 1}, Last: 1, Amount: 5}}, a.Lacks)
	require.Equal(t, 1, a.Placements[0].Arrival)
	require.Equal(t, int64(19-1-2), a.Value)
	d, err := w.Displace(0)
	require.NoError(t, err)
	require.Equal(t, []int{1}, d.Gone, "dog 1 is worth less than dog 2")
	require.Equal(t, int64(27-17), d.Cost, "in the large run dog 1 is worth 27 and dog 0 is worth 17")
	_, err = allocation.Change{Extras: []allocation.Extra{{Resource: allocation.Resource{Site: 4}}}}.Apply(p)
	require.ErrorIs(t, err, allocation.ErrInvalid)
	_, err = allocation.Change{Extras: []allocation.Extra{{Resource: allocation.Resource{Kind: allocation.IntakePlace, Day: 40}, Amount: 1}}}.Apply(p)
	require.ErrorIs(t, err, allocation.ErrInvalid)
	_, err = allocation.Change{Groups: map[int][]allocation.Group{0: {{Arrival: 3}}}}.Apply(p)
	require.ErrorIs(t, err, allocation.ErrInvalid)
	require.Equal(t, inn(), p, "the problem is left as it was")
}
