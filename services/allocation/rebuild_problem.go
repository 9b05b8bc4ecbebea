package allocation

import "slices"

// What a group of trainers leaves to be solved is a problem of its own: their sites with the room that everybody else leaves, and
// for each free dog the options with these trainers.

// problem builds it, and the start.
func (j *rebuilding) problem(x *solver) (*Problem, []Placement) {
	m := j.m
	site, trainer := map[int]int{}, map[int]int{}
	out := &Problem{Days: m.p.Days}
	for s, here := range j.here {
		if here {
			site[int(m.siteOf[s])] = len(out.Sites)
			out.Sites = append(out.Sites, m.p.Sites[m.siteOf[s]])
		}
	}
	for t, s := range m.trainerSite {
		if j.here[s] {
			trainer[int(m.trainerOf[t])] = len(out.Trainers)
			own := m.p.Trainers[m.trainerOf[t]]
			own.Site = site[own.Site]
			out.Trainers = append(out.Trainers, own)
		}
	}
	j.leaveRoom(x, out, site, trainer)
	var warm []Placement
	for _, u := range j.free {
		dogs := m.members(int(u))
		if len(dogs) > 1 {
			var household []int
			for i := range dogs {
				household = append(household, len(out.Dogs)+i)
			}
			out.Together = append(out.Together, household)
		}
		for _, d := range dogs {
			if x.best[d].group >= 0 {
				pl := inward(m.placement(int(d), x.best[d]), site, trainer)
				pl.Dog = len(out.Dogs)
				warm = append(warm, pl)
			}
			j.dogs = append(j.dogs, d)
			out.Dogs = append(out.Dogs, j.options(&m.p.Dogs[m.dogOf[d]], site, trainer))
		}
	}
	return out, warm
}

func inward(pl Placement, site, trainer map[int]int) Placement {
	pl.Site, pl.Trainer = site[pl.Site], trainer[pl.Trainer]
	return pl
}

// outward turns a placement of the group's problem into one of the whole.
func (j *rebuilding) outward(pl Placement) Placement {
	m := j.m
	for s, here := range j.here {
		if here {
			if pl.Site == 0 {
				pl.Site = int(m.siteOf[s])
				break
			}
			pl.Site--
		}
	}
	for t, s := range m.trainerSite {
		if j.here[s] {
			if pl.Trainer == 0 {
				pl.Trainer = int(m.trainerOf[t])
				break
			}
			pl.Trainer--
		}
	}
	return pl
}

// options are a dog's placements with the chosen trainers.
func (j *rebuilding) options(d *Dog, site, trainer map[int]int) Dog {
	out := Dog{Nights: d.Nights}
	chosen := j.chosenTrainers()
	for _, g := range d.Placements {
		at, here := site[g.Site]
		if !here {
			continue
		}
		var list []TrainerOption
		for _, t := range g.Trainers {
			if chosen[t.Trainer] {
				t.Trainer = trainer[t.Trainer]
				list = append(list, t)
			}
		}
		if len(list) > 0 {
			g.Site, g.Trainers = at, list
			out.Placements = append(out.Placements, g)
		}
	}
	return out
}

// chosenTrainers names the group's trainers as the problem does.
func (j *rebuilding) chosenTrainers() map[int]bool {
	out := map[int]bool{}
	for _, t := range j.trainers {
		out[int(j.m.trainerOf[t])] = true
	}
	return out
}

// leaveRoom takes what the fixed dogs use off the capacities and soft levels of the group's problem.
func (j *rebuilding) leaveRoom(x *solver, out *Problem, site, trainer map[int]int) {
	m := j.m
	use := newUse(&Problem{Days: out.Days, Sites: out.Sites, Trainers: out.Trainers})
	stay := &Problem{Days: out.Days, Sites: out.Sites, Trainers: out.Trainers, Dogs: make([]Dog, 1)}
	for _, d := range j.fixed {
		c := x.best[d]
		t := &m.groupTrainers(&m.groups[c.group])[c.trainer]
		pl := inward(m.placement(int(d), c), site, trainer)
		pl.Dog, stay.Dogs[0].Nights = 0, m.p.Dogs[m.dogOf[d]].Nights
		use.add(stay, pl, int(t.minutes), int(t.cover), 1)
	}
	for i := range out.Sites {
		s, u := &out.Sites[i], &use.Sites[i]
		runs := make([]RunClass, len(s.Runs))
		for c := range s.Runs {
			runs[c] = RunClass{Class: s.Runs[c].Class, Capacity: less(s.Runs[c].Capacity, u.Runs[c].Used)}
		}
		s.Runs, s.Intake, s.Handover = runs, less(s.Intake, u.Intake.Used), less(s.Handover, u.Handover.Used)
		if s.Minutes != nil {
			s.Minutes = less(s.Minutes, u.Minutes.Used)
		}
		s.EasyIntake, s.EasyHandover, s.EasyMinutes = s.EasyIntake.less(u.Intake.Used), s.EasyHandover.less(u.Handover.Used), s.EasyMinutes.less(u.Minutes.Used)
	}
	for i := range out.Trainers {
		t, u := &out.Trainers[i], &use.Trainers[i]
		t.Minutes, t.Dogs, t.Easy = less(t.Minutes, u.Minutes.Used), less(t.Dogs, u.Dogs.Used), t.Easy.less(u.Easy.Used)
	}
}

// less is what is left of a list of capacities.
func less(capacity, used []int) []int {
	out := slices.Clone(capacity)
	for k := range min(len(out), len(used)) {
		out[k] = max(0, out[k]-used[k])
	}
	return out
}

// less is a soft level with some of it used: what ran over already no longer matters.
func (e *Easy) less(used []int) *Easy {
	if e == nil {
		return nil
	}
	out := *e
	out.Upto = less(e.Upto, used)
	return &out
}
