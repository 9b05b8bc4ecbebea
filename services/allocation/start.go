package allocation

// startFrom takes over the placements of a plan that fit together.
func (s *solver) startFrom(warm []Placement) {
	if len(warm) == 0 {
		return
	}
	m := s.m
	want := make([]choice, len(m.dogOf))
	own := map[int32]int{}
	for d := range want {
		want[d] = noChoice
		own[m.dogOf[d]] = d
	}
	for _, pl := range warm {
		if d, in := own[int32(pl.Dog)]; in {
			want[d] = m.find(d, pl)
		}
	}
	for u := range m.units() {
		dogs := m.members(u)
		whole, before := true, s.state.value
		for i, d := range dogs {
			whole = want[d].group >= 0 && want[d].group-m.dogFirst[d] == want[dogs[0]].group-m.dogFirst[dogs[0]] && s.state.fits(want[d])
			if !whole {
				for _, e := range dogs[:i] {
					s.state.remove(e)
				}
				break
			}
			s.state.place(d, want[d])
		}
		if whole && s.state.value <= before {
			for _, d := range dogs {
				s.state.remove(d)
			}
		}
	}
	s.offer(s.state.at, s.state.value)
}

// find looks a placement up among a dog's options.
func (m *model) find(d int, pl Placement) choice {
	for at := m.dogFirst[d]; at < m.dogFirst[d+1]; at++ {
		g := &m.groups[at]
		if int(m.siteOf[g.site]) != pl.Site || int(g.arrive) != pl.Arrival {
			continue
		}
		for r, run := range m.groupRuns(g) {
			for t, tr := range m.groupTrainers(g) {
				if int(run.line-m.runLine[g.site]) == pl.Run && int(m.trainerOf[tr.trainer]) == pl.Trainer {
					return choice{at, int16(r), int16(t)}
				}
			}
		}
	}
	return noChoice
}
