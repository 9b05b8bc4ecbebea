package allocation

// overSoftLevels recounts, from the placements alone, what running over soft levels costs.
func (c *checker) overSoftLevels(placements []Placement) (points int64) {
	p := c.p
	if !anyEasy(p) {
		return 0
	}
	type onDay struct{ owner, day int }
	arriving, leaving, handling, loaded := map[onDay]int{}, map[onDay]int{}, map[onDay]int{}, map[onDay]int{}
	for _, pl := range placements {
		_, minutes, cover, _ := offered(&p.Dogs[pl.Dog], pl)
		last := pl.Arrival + p.Dogs[pl.Dog].Nights
		arriving[onDay{pl.Site, pl.Arrival}]++
		leaving[onDay{pl.Site, last}]++
		trainer := &p.Trainers[pl.Trainer]
		for day := pl.Arrival; day < last; day++ {
			if !trainer.Works[day] {
				handling[onDay{pl.Site, day}] += cover
				continue
			}
			handling[onDay{pl.Site, day}] += minutes
			if e := trainer.Easy; e != nil && e.Unit > 1 {
				loaded[onDay{pl.Trainer, day}] += minutes / e.Unit
				if 2*(minutes%e.Unit) >= e.Unit {
					loaded[onDay{pl.Trainer, day}]++
				}
			} else {
				loaded[onDay{pl.Trainer, day}] += minutes
			}
		}
	}
	charge := func(used map[onDay]int, level func(owner int) *Easy) {
		for at, n := range used {
			if e := level(at.owner); e != nil && n > e.Upto[at.day] {
				points += int64(n-e.Upto[at.day]) * int64(e.Over)
			}
		}
	}
	charge(arriving, func(i int) *Easy { return p.Sites[i].EasyIntake })
	charge(leaving, func(i int) *Easy { return p.Sites[i].EasyHandover })
	charge(handling, func(i int) *Easy { return p.Sites[i].EasyMinutes })
	charge(loaded, func(i int) *Easy { return p.Trainers[i].Easy })
	return points
}

func anyEasy(p *Problem) bool {
	for i := range p.Sites {
		if s := &p.Sites[i]; s.EasyIntake != nil || s.EasyHandover != nil || s.EasyMinutes != nil {
			return true
		}
	}
	for i := range p.Trainers {
		if p.Trainers[i].Easy != nil {
			return true
		}
	}
	return false
}
