package allocation

// Line is how much of one resource is used and how much there is, by day. Capacity is the problem's own list.
type Line struct{ Used, Capacity []int }

// Left is what is free on a day; negative when the plan uses more than there is.
func (l Line) Left(day int) int { return l.Capacity[day] - l.Used[day] }

// Use holds the use of every resource.
type Use struct {
	Sites    []SiteUse
	Trainers []TrainerUse
}

// SiteUse is a site's use: Runs by class, the others by day. Minutes has no capacity where the site has no limit, but its
// use is counted.
type SiteUse struct {
	Runs                      []Line
	Intake, Handover, Minutes Line
}

// TrainerUse is a trainer's use by day. On days off all are 0. Easy is the use in units of the soft level, with that level in place
// of a capacity; both lists are nil without one.
type TrainerUse struct{ Minutes, Dogs, Easy Line }

// Usage counts what a plan uses of every resource. Placements that are no option of their dog are passed over; rules need
// not be kept, so that a broken plan can be shown.
func Usage(p *Problem, placements []Placement) Use {
	u := newUse(p)
	for _, pl := range placements {
		if pl.Dog < 0 || pl.Dog >= len(p.Dogs) {
			continue
		}
		if _, minutes, cover, ok := offered(&p.Dogs[pl.Dog], pl); ok {
			u.add(p, pl, minutes, cover, 1)
		}
	}
	return u
}

func newUse(p *Problem) Use {
	u := Use{Sites: make([]SiteUse, len(p.Sites)), Trainers: make([]TrainerUse, len(p.Trainers))}
	line := func(capacity []int) Line { return Line{Used: make([]int, p.Days), Capacity: capacity} }
	for i := range p.Sites {
		s := &p.Sites[i]
		u.Sites[i] = SiteUse{Intake: line(s.Intake), Handover: line(s.Handover), Minutes: line(s.Minutes)}
		for c := range s.Runs {
			u.Sites[i].Runs = append(u.Sites[i].Runs, line(s.Runs[c].Capacity))
		}
	}
	for i := range p.Trainers {
		u.Trainers[i] = TrainerUse{Minutes: line(p.Trainers[i].Minutes), Dogs: line(p.Trainers[i].Dogs)}
		if easy := p.Trainers[i].Easy; easy != nil {
			u.Trainers[i].Easy = line(easy.Upto)
		}
	}
	return u
}

// add counts one placement times times (1 or -1).
func (u *Use) add(p *Problem, pl Placement, minutes, cover, times int) {
	site, trainer := &u.Sites[pl.Site], &u.Trainers[pl.Trainer]
	leave := pl.Arrival + p.Dogs[pl.Dog].Nights
	site.Intake.Used[pl.Arrival] += times
	site.Handover.Used[leave] += times
	for k := pl.Arrival; k < min(leave+p.Sites[pl.Site].CleanDown, p.Days-1); k++ {
		site.Runs[pl.Run].Used[k] += times
	}
	for k := pl.Arrival; k < leave; k++ {
		if !p.Trainers[pl.Trainer].Works[k] {
			site.Minutes.Used[k] += times * cover
			continue
		}
		site.Minutes.Used[k] += times * minutes
		trainer.Minutes.Used[k] += times * minutes
		trainer.Dogs.Used[k] += times
		if easy := p.Trainers[pl.Trainer].Easy; easy != nil {
			trainer.Easy.Used[k] += times * easy.units(minutes)
		}
	}
}
