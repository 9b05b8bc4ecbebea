package allocation

import "slices"

// rebuilder improves the plan of a part that is too large to be solved to the end: it takes a few trainers whose dogs could change
// places with each other, leaves everything else as it is, and solves what remains as a problem of its own, with all that this
// package can do for a small one (fix and optimise, as Helber and Sahling 2010). Plans that no exchange of a few stays
// improves still have such trainers.
type rebuilder struct {
	x      *solver
	rnd    *random
	first  []int32 // trainers by site, see trainersBySite
	list   []int32
	queue  []int32 // trainers still to be the centre of a group in this pass
	deal   []int32 // sites
	size   int     // trainers of a group
	effort int     // iterations for a group
	gained bool    // in this pass
	passes int     // without gain
}

// Groups of trainers begin small. A pass that gains nothing makes them larger.
const (
	groupLeast   = 4
	groupMost    = 8
	groupUnits   = 55 // units free at most, about
	groupWaiting = 25 // of them not placed
	groupEffort  = 50_000
	effortMost   = 8 * groupEffort
)

func newRebuilder(x *solver) *rebuilder {
	b := &rebuilder{x: x, rnd: newRandom(x.seed, 91), size: groupLeast, effort: groupEffort}
	b.first, b.list = x.m.trainersBySite()
	for s := range x.m.siteOf {
		b.deal = append(b.deal, int32(s))
	}
	return b
}

// round rebuilds one group on each thread, at sites of its own, and returns the iterations used.
func (b *rebuilder) round() (used int) {
	n := max(1, min(b.x.threads, len(b.deal)/3))
	jobs := make([]*rebuilding, n)
	b.shuffle(b.deal)
	for i := range jobs {
		sites := b.deal[i*len(b.deal)/n : (i+1)*len(b.deal)/n]
		jobs[i] = b.choose(sites, newRandom(b.x.seed, b.rnd.next()))
	}
	b.shareWaiting(jobs)
	seed := b.rnd.next()
	parallel(n, n, 1, func(_, from, to int) {
		for i := from; i < to; i++ {
			jobs[i].solve(b.x, b.effort, max(1, b.x.threads/n), seed+uint64(i))
		}
	})
	for _, j := range jobs {
		used += j.used
	}
	if b.adopt(jobs) {
		b.gained = true
	}
	return max(1, used)
}

func (b *rebuilder) shuffle(list []int32) {
	for i := len(list) - 1; i > 0; i-- {
		j := b.rnd.below(i + 1)
		list[i], list[j] = list[j], list[i]
	}
}

// nextCentre is a trainer of the sites who has not been the centre of a group in this pass; when all have been, a new pass begins.
func (b *rebuilder) nextCentre(allowed []bool) int32 {
	for range 2 {
		for i, t := range b.queue {
			if allowed[b.x.m.trainerSite[t]] {
				b.queue = slices.Delete(b.queue, i, i+1)
				return t
			}
		}
		if len(b.queue) > 0 {
			break
		}
		if b.gained {
			b.passes = 0
		} else if b.passes++; b.passes > 1 {
			b.size = min(b.size+1, groupMost)
			b.effort = min(b.effort*3/2, effortMost)
		}
		b.gained = false
		b.queue = append(b.queue, b.list...)
		b.shuffle(b.queue)
	}
	return -1
}

// choose picks a group at some sites: a centre, and trainers whom dogs of the centre's site could have instead.
func (b *rebuilder) choose(sites []int32, rnd *random) *rebuilding {
	m := b.x.m
	j := &rebuilding{m: m, chosen: make([]bool, len(m.trainerOf)), here: make([]bool, len(m.siteOf))}
	allowed := make([]bool, len(m.siteOf))
	for _, s := range sites {
		allowed[s] = true
	}
	centre := b.nextCentre(allowed)
	if centre < 0 {
		return j
	}
	j.add(centre)
	site := m.trainerSite[centre]
	list := b.x.sites.of(site)
	for tries := 0; tries < 60 && len(j.trainers) < b.size && len(list) > 0; tries++ {
		d := m.unitDogs[m.unitFirst[list[rnd.below(len(list))]]]
		g := &m.groups[m.dogFirst[d]+int32(rnd.below(m.dogGroups(int(d))))]
		if tr := m.groupTrainers(g); allowed[g.site] && len(tr) > 0 {
			j.add(tr[rnd.below(len(tr))].trainer)
		}
	}
	j.list(b.x, rnd)
	return j
}

// shareWaiting lets no two jobs place the same unit.
func (b *rebuilder) shareWaiting(jobs []*rebuilding) {
	taken := map[int32]bool{}
	for _, j := range jobs {
		j.free = slices.DeleteFunc(j.free, func(u int32) bool {
			if b.x.best[b.x.m.members(int(u))[0]].group >= 0 {
				return false
			}
			if taken[u] {
				return true
			}
			taken[u] = true
			return false
		})
	}
}

// adopt takes over what the jobs found, and reports whether the plan is worth more.
func (b *rebuilder) adopt(jobs []*rebuilding) bool {
	x := b.x
	at := slices.Clone(x.best)
	changed := false
	for _, j := range jobs {
		for i, d := range j.dogs {
			if j.found != nil {
				changed = changed || at[d] != j.found[i]
				at[d] = j.found[i]
			}
		}
	}
	if !changed {
		return false
	}
	plan := x.scratch()
	plan.restore(at)
	if plan.value < x.value {
		return false
	}
	better := plan.value > x.value
	copy(x.best, at) // one of equal value is as good, and another place to go on from
	x.value = plan.value
	return better
}

// rebuilding is one group of trainers and what becomes of its dogs.
type rebuilding struct {
	m        *model
	trainers []int32
	chosen   []bool // by trainer
	here     []bool // by site: whether a chosen trainer works there
	free     []int32
	fixed    []int32 // dogs that stay where they are, at these sites
	dogs     []int32 // dogs of the problem solved
	found    []choice
	used     int
}

func (j *rebuilding) add(t int32) {
	if !j.chosen[t] {
		j.chosen[t] = true
		j.here[j.m.trainerSite[t]] = true
		j.trainers = append(j.trainers, t)
	}
}

// list finds the units that are free to move, and the dogs that take up room at the same sites. Of the trainers, as many
// are dropped as it takes to keep the problem small.
func (j *rebuilding) list(x *solver, rnd *random) {
	m := j.m
	seen := make(map[int32]bool)
	var waiting []int32
	for s, here := range j.here {
		if !here {
			continue
		}
		for _, u := range x.sites.of(int32(s)) {
			dogs := m.members(int(u))
			at := x.best[dogs[0]]
			switch {
			case at.group >= 0 && m.groups[at.group].site != int32(s) || seen[u]:
			case at.group < 0:
				seen[u] = true
				waiting = append(waiting, u)
			case j.all(x, dogs):
				j.free = append(j.free, u)
			default:
				j.fixed = append(j.fixed, dogs...)
			}
		}
	}
	if len(j.free) > groupUnits && len(j.trainers) > 2 {
		last := j.trainers[len(j.trainers)-1]
		j.chosen[last], j.trainers = false, j.trainers[:len(j.trainers)-1]
		clear(j.here)
		for _, t := range j.trainers {
			j.here[m.trainerSite[t]] = true
		}
		j.free, j.fixed = j.free[:0], j.fixed[:0]
		j.list(x, rnd)
		return
	}
	for n := 0; n < groupWaiting && len(waiting) > 0; n++ {
		i := rnd.below(len(waiting))
		j.free = append(j.free, waiting[i])
		waiting[i] = waiting[len(waiting)-1]
		waiting = waiting[:len(waiting)-1]
	}
	slices.Sort(j.free)
}

// all reports whether all dogs of a unit are with chosen trainers.
func (j *rebuilding) all(x *solver, dogs []int32) bool {
	for _, d := range dogs {
		c := x.best[d]
		if !j.chosen[j.m.groupTrainers(&j.m.groups[c.group])[c.trainer].trainer] {
			return false
		}
	}
	return true
}

// solve solves the group's problem, with at most effort iterations, starting from the plan as it is.
func (j *rebuilding) solve(x *solver, effort, threads int, seed uint64) {
	if len(j.free) == 0 {
		return
	}
	p, warm := j.problem(x)
	if len(p.Dogs) == 0 {
		return
	}
	r := &run{p: p, o: Options{Seed: seed, Threads: threads, Iterations: effort, Warm: warm}, threads: threads, outer: x.r}
	r.prepare()
	r.rounds()
	j.used = r.done
	j.found = make([]choice, len(j.dogs))
	for i := range j.found {
		j.found[i] = noChoice
	}
	for _, part := range r.parts {
		for _, pl := range part.m.placements(part.best) {
			own := j.dogs[pl.Dog]
			j.found[pl.Dog] = j.m.find(int(own), j.outward(pl))
		}
	}
}
