package allocation

import "slices"

// again prices those of the trainers [from, to) once more whose search took at least so many nodes, with the node limit in force, and
// keeps the lower bound of both. It reports false, with all as it was, if stop ended it.
func (s *schedules) again(from, to, nodes int, stop func() bool) (complete bool) {
	before := slices.Clone(s.result[from:to])
	if !s.priceAll(stop, func(t int) bool { return from <= t && t < to && before[t-from].nodes >= nodes }) {
		copy(s.result[from:to], before)
		return false
	}
	for t, r := range before {
		s.result[from+t].bound = min(s.result[from+t].bound, r.bound)
	}
	return true
}

// closer prices all trainers again, with times as many nodes, whose search ended at its limit at the current prices. It reports false if stop
// ended it.
func (s *schedules) closer(times int, stop func() bool) (complete bool) {
	limit := s.limit
	s.limit *= times
	complete = s.againGraded(0, len(s.cal), limit, stop)
	s.limit = limit
	if complete {
		s.conclude()
		s.countUse()
	}
	return complete
}

// againGraded is again, with as much proven as the limit allows of those whose search meets it.
func (s *schedules) againGraded(from, to, nodes int, stop func() bool) (complete bool) {
	grade := func(on bool) {
		for _, x := range s.pricers {
			x.graded = on
		}
	}
	grade(true)
	defer grade(false)
	return s.again(from, to, nodes, stop)
}
