package allocation

import (
	"math"
	"slices"
	"time"
)

// search drives searchers through cycles of annealing, a segment at a time. A part that is not vast has one chain a thread, each with a plan of
// its own; a vast part has one plan, and its sites are dealt out anew to the threads in every segment.
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
	began   time.Time
	spent   float64 // seconds spent on moves
	// With a time limit: when the cycle began and how long it lasts.
	from  time.Time
	lasts time.Duration
	ample bool // there is time for more than one cooling that is slow enough
	rnd   *random
	deal  []int32

	// Units by the site where they are or wait, see dealUnits.
	home, homeFirst, byHome []int32
}

// largeMoves is how many batches of quick moves there are to a large move, plus one.
const largeMoves = 3

func newSearch(x *solver) *search {
	c := &search{x: x, shared: x.m.units() > vastUnits, rnd: newRandom(x.seed, 0), length: 10_000, began: time.Now()}
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
//
// Under a time limit a vast part has no time for that: its first cycle is the long one.
func (c *search) warmUp() int {
	c.startChains()
	n := c.length / 10
	if _, limited := c.x.r.left(); limited && c.x.m.units() > vastUnits {
		n, c.cycles = warmLeast, 1
	}
	return c.run(min(n, c.x.allowanceLeft()), coldest, coldest)
}

// warmLeast is how many moves tell how fast the search is.
const warmLeast = 500

// allowanceLeft is how many moves a chain may make in this round.
func (s *solver) allowanceLeft() int {
	if s.allowance == 0 {
		return math.MaxInt32
	}
	return max(1, s.allowance/s.threads)
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
		c.spent += spent
		c.speed = float64(total) / float64(len(c.chains)) / spent
	}
	c.gather()
	return total
}

// anneal makes up to n moves, block after block of its sites, with the temperature falling in each of them.
func (x *searcher) anneal(n int, from, to float64, stop func() bool) (made int) {
	x.near, x.around = x.own, x.sites
	if len(x.own) <= blockDogs {
		return x.cool(n, from, to, stop)
	}
	for i := 0; i < len(x.sites); {
		j, first := i, x.siteOwn[i]
		for j < len(x.sites) && x.siteOwn[j]-first < blockDogs {
			j++
		}
		x.near, x.around = x.own[first:x.siteOwn[j]], x.sites[i:j]
		share := max(1, n*int(x.siteOwn[j])/len(x.own)-made)
		k := x.cool(share, from, to, stop)
		if made += k; k < share {
			return made
		}
		i = j
	}
	return made
}

// blockDogs is about how many dogs are worked on at a time in a large part: so many that what is known of them stays in the cache.
const blockDogs = 400

// cool makes up to n moves among the dogs near.
func (x *searcher) cool(n int, from, to float64, stop func() bool) int {
	if len(x.near) == 0 && x.own != nil {
		return 0
	}
	cool := math.Pow(to/from, 1/math.Max(1, float64(n)))
	x.temperature = from * float64(x.scale)
	for k := range n {
		if k%32 == 0 && stop() {
			return k
		}
		if x.rnd.below(largeMoves) == 0 {
			x.step()
		} else {
			x.quickBatch()
		}
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
	c.dealUnits()
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

// dealUnits gives each chain the units that are at its sites or wait for them, in the order of the sites.
func (c *search) dealUnits() {
	m := c.x.m
	c.home, c.homeFirst = slices.Grow(c.home[:0], m.units())[:m.units()], slices.Grow(c.homeFirst[:0], len(m.siteOf)+1)[:len(m.siteOf)+1]
	clear(c.homeFirst)
	for u := range m.units() {
		c.home[u] = -1
		d := m.members(u)[0]
		if m.dogGroups(int(d)) == 0 {
			continue
		}
		at := c.x.state.at[d].group
		if at < 0 {
			at = m.dogFirst[d] + int32(c.rnd.below(m.dogGroups(int(d))))
		}
		c.home[u] = m.groups[at].site
		c.homeFirst[c.home[u]+1]++
	}
	for s := range m.siteOf {
		c.homeFirst[s+1] += c.homeFirst[s]
	}
	c.byHome = slices.Grow(c.byHome[:0], m.units())[:m.units()]
	fill := slices.Clone(c.homeFirst)
	for u, s := range c.home {
		if s >= 0 {
			c.byHome[fill[s]] = int32(u)
			fill[s]++
		}
	}
	for _, chain := range c.chains {
		chain.siteOwn = append(chain.siteOwn[:0], 0)
		for _, s := range chain.sites {
			for _, u := range c.byHome[c.homeFirst[s]:c.homeFirst[s+1]] {
				chain.units[u] = true
				chain.own = append(chain.own, m.members(int(u))...)
			}
			chain.siteOwn = append(chain.siteOwn, int32(len(chain.own)))
		}
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
