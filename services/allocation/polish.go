package allocation

// polisher improves plans of parts of one day by sending single dogs to other trainers, and by exchanging two, as long as that gains. It looks at
// minutes only, which says soon what cannot be; the plan itself says whether the rest fits.
type polisher struct {
	s        *schedules
	stay     []int32 // by dog and trainer: the dog's best stay there, -1 for none
	worth    []int64
	at       []int32 // by dog: trainer, -1 for none
	left     []int32 // by trainer: minutes, in units of its grain
	trainers int
}

func newPolisher(s *schedules) *polisher {
	m := s.m
	n := len(s.cal)
	p := &polisher{s: s, trainers: n, stay: make([]int32, len(m.dogOf)*n), worth: make([]int64, len(m.dogOf)*n), at: make([]int32, len(m.dogOf)), left: make([]int32, n)}
	for i := range p.stay {
		p.stay[i] = -1
	}
	for t, c := range s.cal {
		for i := range c.stays {
			st := &c.stays[i]
			k := int(m.groups[st.group].dog)*n + t
			if w := m.worth(choice{st.group, s.bestRun[st.group], st.entry}); p.stay[k] < 0 || w > p.worth[k] {
				p.stay[k], p.worth[k] = int32(i), w
			}
		}
	}
	return p
}

// polish improves a plan.
func (p *polisher) polish(plan *state, stop func() bool) {
	p.read(plan)
	for changed := true; changed && !stop(); {
		changed = false
		for d := range p.at {
			if p.at[d] < 0 || len(p.s.m.members(int(p.s.m.unitOf[d]))) > 1 {
				continue
			}
			changed = p.shift(plan, int32(d)) || changed
			for e := d + 1; e < len(p.at); e++ {
				if p.at[e] >= 0 && p.at[e] != p.at[d] && len(p.s.m.members(int(p.s.m.unitOf[e]))) == 1 {
					changed = p.swap(plan, int32(d), int32(e)) || changed
				}
			}
		}
	}
}

// read notes who has whom.
func (p *polisher) read(plan *state) {
	m := p.s.m
	for t, c := range p.s.cal {
		p.left[t] = 0
		if len(c.minutes) > 0 {
			p.left[t] = c.minutes[0]
		}
	}
	for d := range p.at {
		p.at[d] = -1
		c := plan.at[d]
		if c.group < 0 {
			continue
		}
		t := m.groupTrainers(&m.groups[c.group])[c.trainer].trainer
		if k := d*p.trainers + int(t); p.stay[k] >= 0 && p.s.cal[t].stays[p.stay[k]].group == c.group {
			p.at[d] = t
			p.left[t] -= p.size(int32(d), t)
		}
	}
}

func (p *polisher) size(d, t int32) int32 {
	st := &p.s.cal[t].stays[p.stay[int(d)*p.trainers+int(t)]]
	if st.from == st.to {
		return 0
	}
	return st.size
}

func (p *polisher) choice(d, t int32) choice {
	st := &p.s.cal[t].stays[p.stay[int(d)*p.trainers+int(t)]]
	return choice{st.group, p.s.bestRun[st.group], st.entry}
}

// shift sends a dog to the first trainer with whom it is worth more.
func (p *polisher) shift(plan *state, d int32) bool {
	from := p.at[d]
	for t := range int32(p.trainers) {
		k := int(d) * p.trainers
		if t == from || p.stay[k+int(t)] < 0 || p.worth[k+int(t)] <= p.worth[k+int(from)] || p.size(d, t) > p.left[t] {
			continue
		}
		old := plan.at[d]
		plan.remove(d)
		if !plan.fits(p.choice(d, t)) {
			plan.place(d, old)
			continue
		}
		plan.place(d, p.choice(d, t))
		p.left[from] += p.size(d, from)
		p.left[t] -= p.size(d, t)
		p.at[d] = t
		return true
	}
	return false
}

// swap exchanges the trainers of two dogs if that gains.
func (p *polisher) swap(plan *state, d, e int32) bool {
	t, u := p.at[d], p.at[e]
	du, et := int(d)*p.trainers+int(u), int(e)*p.trainers+int(t)
	if p.stay[du] < 0 || p.stay[et] < 0 || p.worth[du]+p.worth[et] <= p.worth[int(d)*p.trainers+int(t)]+p.worth[int(e)*p.trainers+int(u)] {
		return false
	}
	leftT, leftU := p.left[t]+p.size(d, t)-p.size(e, t), p.left[u]+p.size(e, u)-p.size(d, u)
	if leftT < 0 || leftU < 0 {
		return false
	}
	oldD, oldE := plan.at[d], plan.at[e]
	plan.remove(d)
	plan.remove(e)
	ok := plan.fits(p.choice(d, u))
	if ok {
		plan.place(d, p.choice(d, u))
		if ok = plan.fits(p.choice(e, t)); ok {
			plan.place(e, p.choice(e, t))
			p.at[d], p.at[e], p.left[t], p.left[u] = u, t, leftT, leftU
			return true
		}
		plan.remove(d)
	}
	plan.place(d, oldD)
	plan.place(e, oldE)
	return false
}
