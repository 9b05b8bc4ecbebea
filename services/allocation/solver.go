package allocation

import (
	"math"
	"sync"
	"time"
)

// solver works on one component. It goes through stages, a bounded piece of work a round, so that many components can take
// turns and every limit is met soon.
type solver struct {
	r         *run
	m         *model
	seed      uint64
	threads   int
	allowance int // iterations this round may use; 0: no limit

	dual   *dual
	guide  *guide
	sites  *siteUnits
	state  *state
	search *search
	sched  *schedules
	bundle *bundle
	master *master
	// rounds of the programme since the last dive, and how many there are to be before the next
	sinceDive, nextDive int
	divedAt             int   // nodes of the tree at its last dive
	prunedAt            int64 // gap when stays were last dropped
	tree                *branching
	oneDay              bool // every schedule is a knapsack, see knapsackTree
	knapsacks           *knapsackTree
	stage               int
	rebuilder           *rebuilder
	regrouper           *regrouper
	onBound, onPlan     time.Duration // spent on them, see nextStage
	boundRound          time.Duration // of the last round spent on the bound
	stepTime            time.Duration // of a price step

	spare   *state
	typical float64 // see typicalGain

	best  []choice
	value int64
	bound int64
	ended bool

	mu      sync.Mutex // guards pub
	pub     published
	started bool
}

type published struct {
	value, bound int64
	placed       int
	phase        string
}

// Effort of one round, in iterations: a price step or a move of the local search counts as one.
const (
	priceSteps        = 50
	dualMost          = 1500
	dualEnough        = 450 // for large parts
	dualLeast         = 100
	dualWork          = 8_000_000 // most steps times units, for very large parts
	exactNodes        = 300_000
	exactUnits        = 14
	largeUnits        = 300
	vastUnits         = 1000
	pricingsRound     = 120 // trainers priced, at least, before the search takes its turn
	pricingCost       = 60
	oneDayUnits       = 250 // parts of one day that are solved as generalised assignment
	diveUnits         = 80  // parts that are solved to the end: by dives and branching
	oneDayRounds      = 250 // steps of the schedule bound of a part of one day before it is branched
	nodesPerDive      = 60  // nodes of the tree between dives
	diveFirst         = 12  // rounds of pricing before the first dive, and
	diveEvery         = 40  // between dives once they are many
	diveRounds        = 4   // rounds of pricing at each step of a dive
	movesRound        = 16_000
	vastShare         = 0.4 // time for the bound of vast parts, as a share of the plan's
	subgradientRounds = 20  // before the programme over schedules takes over
	lastRounds        = 2   // the time of so many rounds for the bound, at the end, is the plan's: a round that is cut short proves nothing
	scheduleWait      = 300 // price steps that there must be time for before the schedule bound of a vast part is begun; it takes some 60 to begin
	passesMost        = 3   // passes of rebuilding without gain before the search takes its turn again
	stallCycles       = 6   // cycles without gain after which a search without limits ends
)

func newSolver(r *run, m *model, index uint64, threads int, warm []Placement) *solver {
	s := &solver{r: r, m: m, seed: r.o.Seed*1_000_003 + index, threads: threads, best: make([]choice, len(m.dogOf)), sites: newSiteUnits(m), nextDive: diveFirst}
	for d := range s.best {
		s.best[d] = noChoice
	}
	s.oneDay = m.units() <= oneDayUnits && m.oneDay()
	s.state = newState(m)
	s.typical = m.typicalGain()
	s.startFrom(warm)
	s.dual = newDual(m, s.typical, threads)
	s.setBound(m.roundDown(s.dual.bound))
	s.publish("prices")
	return s
}

// offer takes a plan over if it is worth more than the best.
func (s *solver) offer(at []choice, value int64) bool {
	if value <= s.value {
		return false
	}
	copy(s.best, at)
	s.value = value
	return true
}

func (s *solver) setBound(bound int64) {
	if !s.started || bound < s.bound {
		s.bound, s.started = bound, true
	}
}

func (s *solver) finished() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.ended
}

// publish shows value and bound to the goroutine that reports progress.
func (s *solver) publish(phase string) {
	placed := 0
	for _, c := range s.best {
		if c.group >= 0 {
			placed++
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.pub = published{s.value, s.bound, placed, phase}
	if s.value >= s.bound {
		s.ended = true
	}
}

func (s *solver) published() (value, bound int64, placed int, phase string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.pub.value, s.pub.bound, s.pub.placed, s.pub.phase
}

// round does the next piece of work and returns the iterations it used.
func (s *solver) round() (used int) {
	switch s.stage {
	case 0:
		used = s.lowerPrices()
		s.publish("prices")
	case 1:
		used = s.firstPlan()
		s.publish("first plan")
	case 2:
		used = s.tryExact()
		s.publish("exact search")
	case 3:
		before := s.onBound
		used = timed(&s.onBound, s.lowerSchedules)
		s.boundRound = s.onBound - before
		s.stage = s.nextStage(4)
		s.publish("schedules")
	default:
		used = timed(&s.onPlan, s.improve)
		s.stage = s.nextStage(3)
		s.publish("search")
		if s.stalled() >= stallCycles && s.r.o.Limit == 0 && s.r.o.Iterations == 0 {
			s.mu.Lock()
			s.ended = true
			s.mu.Unlock()
		}
	}
	return max(1, used)
}

// timed does a piece of work and adds up the time it takes.
func timed(spent *time.Duration, work func() int) (used int) {
	began := time.Now()
	used = work()
	*spent += time.Since(began)
	return used
}

// stalled is how many cycles of the search have ended without gain.
func (s *solver) stalled() int {
	if s.regrouper != nil {
		return s.regrouper.stalled
	}
	return s.search.stalled
}

// nextStage says whether bound (3) or plan (4) is worked on next: in turns, but under a time limit, in parts that are not solved to the
// end, so that each gets its share of the time.
func (s *solver) nextStage(other int) int {
	if _, limited := s.r.left(); !limited || s.m.deep || s.master != nil && s.master.settled {
		return other
	}
	share := 1.0 // of the plan's time
	switch {
	case s.knapsacks != nil && !s.knapsacks.few:
		share = regroupShare
	case s.oneDay:
		share = 12 // a proof has not begun, or is near
	case s.m.units() > vastUnits:
		share = vastShare
	}
	if !s.boundPays() || float64(s.onBound) > share*float64(s.onPlan) {
		return 4
	}
	return 3
}

// boundPays reports whether there is time enough for the schedule bound, and something left for it to gain.
func (s *solver) boundPays() bool {
	left, limited := s.r.left()
	switch {
	case !limited:
		return true
	case s.bundle != nil && s.bundle.nearEnd(s.bound-s.value):
		return false
	case s.m.units() > vastUnits:
		return s.sched != nil || left > scheduleWait*s.stepTime
	}
	return left >= lastRounds*s.boundRound
}

// scratch is a second state for plans that are tried out.
func (s *solver) scratch() *state {
	if s.spare == nil {
		s.spare = newState(s.m)
	}
	return s.spare
}

// improve runs the local search for about as long as the schedules took.
func (s *solver) improve() int {
	if s.knapsacks != nil {
		if s.regrouper == nil {
			s.regrouper = newRegrouper(s, s.knapsacks.polisher)
		}
		return s.regrouper.segment()
	}
	if !s.m.deep && s.r.outer == nil && s.search.cooled() {
		if s.rebuilder == nil {
			s.rebuilder = newRebuilder(s)
		}
		if s.rebuilder.passes < passesMost {
			return s.rebuilder.round()
		}
		s.rebuilder.passes = 0
	}
	moves := movesRound
	if s.m.deep {
		moves /= 8 // the programme finds better plans, and proves them
	}
	return s.search.segment(moves * max(1, len(s.m.trainerOf)/pricingsRound) / s.threads)
}

// lowerPrices makes some price steps.
func (s *solver) lowerPrices() int {
	units := max(1, s.m.units())
	most, chunk := dualMost, priceSteps
	if units > largeUnits {
		most = max(dualLeast, min(dualEnough, dualWork/units))
		chunk = max(5, min(priceSteps, dualWork/50/units))
	}
	left, limited := s.r.left()
	if limited && units > vastUnits && s.dual.steps == 0 {
		chunk = 5 // to see how long they take
	}
	n := 0
	if left -= s.r.o.Limit * 6 / 10; limited && left < 0 {
		most = 0 // leave time for the rest
	}
	began := time.Now()
	for ; n < chunk && !s.dual.converged() && s.dual.steps < most && !s.r.stop(); n++ {
		s.dual.step(micro(s.value) << s.m.shift)
	}
	if n > 0 {
		s.stepTime = time.Since(began) / time.Duration(n)
		if limited && s.dual.pace == hasty && s.dual.steps == n && left < hurriedSteps*s.stepTime {
			s.dual.pace = hurried
		}
	}
	s.setBound(s.m.roundDown(s.dual.bound))
	if s.guide == nil { // a first plan, in case there is no time for more
		s.makePlan()
	}
	if n < chunk {
		s.stage = 1
	}
	return n
}

// makePlan fills the plan greedily at the best prices so far.
func (s *solver) makePlan() {
	if s.guide == nil {
		s.guide = newGuide(s.m)
	}
	s.guide.update(s.dual.settle(), s.threads)
	s.dual.resume()
	fill(s.state, s.guide, s.r.stop)
	s.offer(s.state.at, s.state.value)
}

// firstPlan makes the first serious plan: greedily from nothing, and onto the start.
func (s *solver) firstPlan() int {
	s.state.reset()
	s.makePlan()
	s.state.restore(s.best)
	fill(s.state, s.guide, s.r.stop)
	s.offer(s.state.at, s.state.value)
	s.search = newSearch(s)
	s.stage = 2
	return s.search.warmUp()
}

// tryExact solves small parts to the end.
func (s *solver) tryExact() int {
	if s.stage = 3; !s.boundPays() {
		s.stage = 4
	}
	if s.m.units() > exactUnits {
		return 0
	}
	best, value, done := solveExact(s.m, s.dual.settle(), s.dual.bound, s.best, s.value, exactNodes, s.r.stop)
	s.offer(best, value)
	if done {
		s.setBound(s.value)
	}
	return 0
}

// writePrices writes this part's prices, in points, into the whole problem's.
func (s *solver) writePrices(out *Prices) {
	m := s.m
	unit := math.Ldexp(1, -int(m.shift))
	write := func(to []float64, line int32) {
		for k := range to {
			to[k] = s.dual.top[m.cell(line, k)] * unit
		}
	}
	for i, at := range m.siteOf {
		site := &out.Sites[at]
		for c := range site.Runs {
			write(site.Runs[c], m.runLine[i]+int32(c))
		}
		write(site.Intake, m.intakeLine[i])
		write(site.Handover, m.handLine[i])
		if m.minuteLine[i] >= 0 {
			write(site.Minutes, m.minuteLine[i])
		}
	}
	for i, at := range m.trainerOf {
		write(out.Trainers[at].Minutes, m.workLine[i])
		write(out.Trainers[at].Dogs, m.dogLine[i])
	}
}
