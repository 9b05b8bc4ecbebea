package allocation

import (
	"time"
)

// In a vast part one evaluation of the schedule bound takes seconds. It is done in pieces: all trainers are priced roughly first, which
// gives a valid bound at once, and then one after the other again with many nodes, each of which can only lower it.

// Nodes for a trainer of a vast part, roughly and closely, and points without gain after which the target comes nearer.
const (
	roughNodes  = 1
	closeNodes  = 3000
	vastPatient = 3
	wholeTimes  = 5 // rough evaluations that one close by takes, about
)

// beginVast prices all trainers roughly at the current prices.
func (s *schedules) beginVast(stop func() bool) {
	s.limit, s.next = roughNodes, 0
	began := time.Now()
	if !s.evaluate(stop) {
		s.next = len(s.cal)
	}
	s.rough = time.Since(began)
	s.limit, s.before = closeNodes, s.bound
}

// inPieces reports whether evaluations have to go on in pieces, since one is under way or as a whole it would take longer than a piece may.
func (s *schedules) inPieces(budget time.Duration) bool {
	return s.rough > 0 && (s.next < len(s.cal) || wholeTimes*s.rough > budget)
}

// closerFor goes on with pricing trainers again, for about as long as it may. It reports false if all have been priced.
func (s *schedules) closerFor(budget time.Duration, stop func() bool) bool {
	if s.next >= len(s.cal) {
		return false
	}
	for began := time.Now(); s.next < len(s.cal) && time.Since(began) < budget && !stop(); {
		to := min(s.next+16*s.threads, len(s.cal))
		if !s.againGraded(s.next, to, roughNodes, stop) {
			break
		}
		s.next = to
	}
	s.conclude()
	if s.next == len(s.cal) {
		s.countUse()
	}
	return true
}

// stepVast moves the prices once, after an evaluation that is complete, and prices all trainers roughly there.
func (s *schedules) stepVast(value micro, stop func() bool) {
	if s.round++; float64(s.before-s.bound) > 0.02*s.level*s.size {
		s.stall = 0
	} else if s.stall++; s.stall > vastPatient {
		s.stall = 0
		s.level *= 0.6
		copy(s.price, s.top)
		clear(s.dir)
		s.beginVast(stop)
		return
	}
	if target := max(float64(s.bound)-s.level*s.size, float64(value)); !s.move(target, 0.93) {
		s.level = 0
		return
	}
	s.beginVast(stop)
}
