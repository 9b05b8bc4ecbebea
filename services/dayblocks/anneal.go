package dayblocks

import "time"

// pace says how far a search has come: by the moves that are to be made, or by the time there is, whichever is further.
type pace struct {
	began time.Time
	limit time.Duration // 0: none
	moves int
}

func (p *pace) part(made int) float64 {
	part := float64(made) / float64(p.moves)
	if p.limit > 0 {
		part = max(part, float64(time.Since(p.began))/float64(p.limit))
	}
	return part
}

// anneal makes moves at a falling temperature until the search has come so far, or its cost meets the bound.
func (x *search) anneal(p *pace, upto float64, bound int, stop func() bool) {
	if len(x.m.hours) == 0 || len(x.m.ofDog) == 0 {
		return
	}
	x.lookWhetherFull()
	drop := float64(max(1, x.m.d.Policy.Drop))
	for x.best > bound && !stop() {
		part := p.part(x.moves)
		if part >= upto {
			return
		}
		for range 16 {
			x.move(drop * (coolFrom*(1-part) + coolTo*part))
		}
	}
}

// twin is another search from where this one is.
func (x *search) twin(seed uint64) *search {
	y := newSearch(x.m, newState(x.m), seed+1)
	y.moves = x.moves
	y.best = x.best
	copy(y.bestAt, x.bestAt)
	y.follow(x)
	return y
}

// exchange tells two searches of each other's best, and the one that is behind goes on from where the other is.
func (x *search) exchange(y *search) {
	if y.best < x.best {
		x.best = y.best
		copy(x.bestAt, y.bestAt)
	}
	y.best = x.best
	if x.now < y.now {
		y.follow(x)
	} else if y.now < x.now {
		x.follow(y)
	}
}

// follow goes to where another search is.
func (x *search) follow(y *search) {
	for i := range x.s.at {
		if x.s.at[i].start >= 0 && x.s.at[i] != y.s.at[i] {
			x.s.remove(int32(i))
		}
	}
	for i, p := range y.s.at {
		if x.s.at[i] != p {
			x.s.put(int32(i), p, true)
		}
	}
	x.now = y.now
}
