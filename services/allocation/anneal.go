package allocation

import (
	"math"
	"slices"
	"time"
)

// search drives searchers through cycles of annealing, a segment at a time. A small part has one chain a thread, each with a plan of
// its own; a large part has one plan, and its sites are dealt out anew to the threads in every segment.
type search struct {
	x       *solver
	shared  bool
	chains  []*searcher
	length  int // moves of a cycle, by chain
	at      int // moves of the current cycle that are done
	cycles  int
	stalled int // cycles without gain
	before  int64
	speed   float64 // moves a second, by chain
	rnd     *random
	deal    []int32
}

// Temperatures as shares of the typical gain.
const (
	hottest = 0.15
	coldest = 0.008
)

func newSearch(x *solver) *search {
	c := &search{x: x, shared: x.m.units() > largeUnits, rnd: newRandom(x.seed, 0), length: 10_000}
	if c.shared {
		c.length = 100 * x.m.units() / x.threads
	}
	scale := x.typical
	for i := range x.threads {
		if c.shared && i >= len(x.m.siteOf) {
			break
		}
		var s *state
		if c.shared {
			view := *x.state
			s = &view
		} else {
			s = newState(x.m)
			s.restore(x.best)
		}
		chain := newSearcher(s, x.guide, x.sites, scale, newRandom(x.seed, uint64(i)+1))
		if c.shared {
			chain.allow, chain.units = make([]bool, len(x.m.siteOf)), make([]bool, x.m.units())
			chain.own = make([]int32, 0, len(x.m.dogOf))
		}
		c.chains = append(c.chains, chain)
	}
	return c
}

// warmUp runs a short cold segment, to have a decent plan before anything long starts.
func (c *search) warmUp() int {
	c.startChains()
	return c.run(min(c.length/10, c.x.allowanceLeft()), coldest, coldest)
}

// allowanceLeft is how many moves a chain may make in this round.
func (s *solver) allowanceLeft() int {
	if s.allowance == 0 {
		return math.MaxInt32
	}
	return max(1, s.allowance/s.threads)
}

// segment makes up to n more moves a chain of the current cycle, which cools once from hot to cold.
func (c *search) segment(n int) int {
	if c.at >= c.length {
		c.nextCycle()
	}
	if c.at == 0 {
		c.startChains()
	}
	n = min(n, c.length-c.at, c.x.allowanceLeft())
	temperature := func(at int) float64 { return hottest * math.Pow(coldest/hottest, float64(at)/float64(c.length)) }
	used := c.run(n, temperature(c.at), temperature(c.at+n))
	c.at += n
	return used
}

// nextCycle begins a new, longer cycle; with a time limit, no longer than what half of the time left allows.
func (c *search) nextCycle() {
	c.cycles++
	c.stalled++
	if c.x.value > c.before {
		c.stalled = 0
	}
	c.before = c.x.value
	c.at = 0
	c.length = min(c.length*2, 200_000+50*c.x.m.units())
	if left, limited := c.x.r.left(); limited && c.speed > 0 {
		c.length = max(500, min(c.length, int(left.Seconds()*c.speed*0.45)))
	}
}

// run makes n moves a chain with the temperature falling from from to to.
func (c *search) run(n int, from, to float64) int {
	began := time.Now()
	if c.shared {
		c.dealOut()
	}
	made := make([]int, len(c.chains))
	parallel(len(c.chains), len(c.chains), 1, func(_, a, b int) {
		for i := a; i < b; i++ {
			made[i] = c.chains[i].anneal(n, from, to, c.x.r.stop)
		}
	})
	total := 0
	for _, k := range made {
		total += k
	}
	if spent := time.Since(began).Seconds(); spent > 0 {
		c.speed = float64(total) / float64(len(c.chains)) / spent
	}
	c.gather()
	return total
}

// anneal makes up to n moves.
func (x *searcher) anneal(n int, from, to float64, stop func() bool) int {
	cool := math.Pow(to/from, 1/math.Max(1, float64(n)))
	x.temperature = from * float64(x.scale)
	for k := range n {
		if k%32 == 0 && stop() {
			return k
		}
		x.step()
		x.temperature *= cool
	}
	return n
}

// startChains lets chains begin a cycle from the best plan, or from their own best, in turn.
func (c *search) startChains() {
	if c.shared {
		if c.cycles > 0 {
			c.x.state.restore(c.x.best)
		}
		return
	}
	for i, chain := range c.chains {
		switch {
		case (i+c.cycles)%3 == 2:
			chain.s.restore(chain.best)
		default:
			chain.s.restore(c.x.best)
		}
		chain.noteBest()
	}
}

// dealOut gives each chain some of the sites, and the units that are there or wait for them.
func (c *search) dealOut() {
	m := c.x.m
	if len(c.deal) == 0 {
		for s := range m.siteOf {
			c.deal = append(c.deal, int32(s))
		}
	}
	for i := len(c.deal) - 1; i > 0; i-- {
		j := c.rnd.below(i + 1)
		c.deal[i], c.deal[j] = c.deal[j], c.deal[i]
	}
	for i, chain := range c.chains {
		clear(chain.allow)
		clear(chain.units)
		chain.own = chain.own[:0]
		chain.sites = append(chain.sites[:0], c.deal[i*len(c.deal)/len(c.chains):(i+1)*len(c.deal)/len(c.chains)]...)
		slices.Sort(chain.sites)
		for _, s := range chain.sites {
			chain.allow[s] = true
		}
	}
	for u := range m.units() {
		dogs := m.members(u)
		if m.dogGroups(int(dogs[0])) == 0 {
			continue
		}
		at := c.x.state.at[dogs[0]].group
		if at < 0 {
			at = m.dogFirst[dogs[0]] + int32(c.rnd.below(m.dogGroups(int(dogs[0]))))
		}
		for _, chain := range c.chains {
			if chain.allow[m.groups[at].site] {
				chain.units[u] = true
				chain.own = append(chain.own, dogs...)
			}
		}
	}
	for _, chain := range c.chains {
		chain.s.value, chain.s.count = 0, 0
		for _, d := range chain.own {
			if at := chain.s.at[d]; at.group >= 0 {
				chain.s.value += m.worth(at)
				chain.s.count++
			}
		}
		chain.s.value -= chain.s.overflow(chain.sites)
		chain.noteBest()
	}
}

// gather offers what the chains found. Chains on separate sites are put together first.
func (c *search) gather() {
	x := c.x
	if !c.shared {
		for _, chain := range c.chains {
			x.offer(chain.best, chain.bestValue)
		}
		return
	}
	var now, best int64
	count := 0
	for _, chain := range c.chains {
		now, best, count = now+chain.s.value, best+chain.bestValue, count+chain.s.count
	}
	x.state.value, x.state.count = now, count
	if best <= x.value {
		return
	}
	for _, chain := range c.chains {
		for _, d := range chain.own {
			x.best[d] = chain.best[d]
		}
	}
	x.value = best
}
