package allocation

import (
	"math"
	"time"
)

// Temperatures as shares of the typical gain.
const (
	hottest = 0.1
	coldest = 0.008
)

// mostCharge is the share of prices that quick moves count at the beginning of a cycle; it falls to nothing.
const mostCharge = 0.9

// Where the plan is rebuilt by groups of trainers afterwards, the long cooling takes this share of the time left. With less time than
// rebuildLeast a slower cooling gains more than rebuilding does.
const (
	coolShare    = 0.85
	rebuildLeast = 15 * time.Second
)

// A cooling of more than coolMost moves a dog finds no better plans than one of so many. Where there is time for more, the best plan is warmed up again and again
// to the temperature warmest, with fewer prices counted, and cooled in half the moves: plans of one problem differ by more than what slower cooling gains.
const (
	coolMost   = 1500
	warmest    = 0.05
	warmCharge = 0.3
)

// segment makes up to n more moves a chain of the current cycle, which cools once from hot to cold.
func (c *search) segment(n int) int {
	if c.at > 0 && c.progress() >= 1 {
		c.nextCycle()
	}
	if c.at == 0 {
		c.keepTime()
		c.startChains()
	}
	n = min(n, c.x.allowanceLeft(), c.brief())
	now := c.progress()
	next := now + float64(n)/float64(c.length)
	if c.lasts > 0 {
		next = now + float64(n)/c.speed/c.lasts.Seconds()
	} else if next > 1 {
		n, next = c.length-c.at, 1
	}
	hot, charge := c.hottest(), mostCharge
	if c.warming() {
		hot, charge = warmest, warmCharge
	}
	for _, chain := range c.chains {
		chain.charge = charge * (1 - now)
	}
	temperature := func(share float64) float64 { return hot * math.Pow(coldest/hot, min(1, share)) }
	used := c.run(n, temperature(now), temperature(next))
	c.at += n
	return used
}

// brief is how many moves keep a segment short against the time limit, so that the temperature falls smoothly and the bound has its turns.
func (c *search) brief() int {
	if _, limited := c.x.r.left(); !limited || c.speed == 0 {
		return math.MaxInt32
	}
	return max(warmLeast, int(0.03*c.x.r.o.Limit.Seconds()*c.speed))
}

// progress is the share of the cycle that is done.
func (c *search) progress() float64 {
	if c.lasts > 0 {
		return min(1, float64(time.Since(c.from))/float64(c.lasts))
	}
	return float64(c.at) / float64(c.length)
}

// hottest is where a cycle begins: the fewer moves there are for each dog, the colder, since what heat loosens must be put right again.
func (c *search) hottest() float64 {
	moves := float64(c.length*len(c.chains)*quickMoves) / float64(max(1, len(c.x.m.dogOf)))
	if !c.shared {
		moves /= float64(len(c.chains))
	}
	return max(0.02, min(hottest, 0.02*math.Pow(moves/200, 0.35)))
}

// keepTime fits a cycle that is about to begin into a time limit: one slow cooling finds better plans than several fast ones, so
// after the first, short cycle comes one that takes most of the time left.
func (c *search) keepTime() {
	left, limited := c.x.r.left()
	if !limited || c.speed == 0 {
		return
	}
	share := 0.4 // about how much of the time the search gets; the bounds have the rest
	if since := time.Since(c.began).Seconds(); since > 0.5 {
		share = max(0.05, c.spent/since)
	}
	moves := max(500, int(left.Seconds()*c.speed*share))
	if c.cycles == 0 {
		c.length = min(c.length, moves/4)
		return
	}
	c.length = moves
	enough := float64(coolMost*len(c.x.m.dogOf)) / float64(moves) // of the time left
	if c.cycles == 1 {
		c.ample = !c.shared && !c.x.m.deep && left > rebuildLeast && enough < coolShare
	}
	share = 0.9
	switch {
	case c.warming():
		share = min(share, enough/2)
	case c.ample:
		share = enough
	case c.x.m.deep || left < rebuildLeast:
	case c.cycles == 1:
		share = coolShare
	default:
		share = 0.1
	}
	c.from, c.lasts = time.Now(), time.Duration(share*float64(left))+1
}

// warming reports whether the cycle warms the best plan up again.
func (c *search) warming() bool { return c.ample && c.cycles > 1 }

// cooled reports whether a cycle that is worth building on has ended.
func (c *search) cooled() bool {
	left, _ := c.x.r.left()
	again := c.ample && float64(left) > (1-coolShare)*float64(c.x.r.o.Limit)
	return c.at > 0 && c.cycles > 0 && c.progress() >= 1 && !again
}

// nextCycle begins a new, longer cycle.
func (c *search) nextCycle() {
	c.cycles++
	c.stalled++
	if c.x.value > c.before {
		c.stalled = 0
	}
	c.before = c.x.value
	c.at = 0
	c.length = min(c.length*2, 200_000+50*c.x.m.units())
}
