package allocation

import "container/heap"

// fill places waiting units one by one, the one that would lose most by waiting first. Offers are kept in a heap and looked up
// again only when they come to the top, since room only shrinks. stop ends it early.
func fill(s *state, g *guide, stop func() bool) {
	m := s.m
	widest := 1
	q := &offerQueue{}
	for u := range m.units() {
		widest = max(widest, len(m.members(u)))
	}
	picks := make([]choice, widest)
	for u := range m.units() {
		if s.at[m.members(u)[0]].group < 0 {
			if o := g.find(s, u, picks, nil, nil, 0, true, anyWorth); o.row >= 0 {
				q.list = append(q.list, queued{int32(u), urgency(o)})
			}
		}
	}
	heap.Init(q)
	for q.Len() > 0 && !stop() {
		u := q.list[0].unit
		o := g.find(s, int(u), picks, nil, nil, 0, true, anyWorth)
		if o.row < 0 {
			heap.Pop(q)
			continue
		}
		if key := urgency(o); key < q.list[0].key && !q.first(key) {
			q.list[0].key = key
			heap.Fix(q, 0)
			continue
		}
		s.placeUnit(m.members(int(u)), picks)
		heap.Pop(q)
	}
}

// urgency ranks an offer: what it leaves over at the going prices, and more so if the next best is much worse.
func urgency(o offer) float32 { return o.score + 0.5*min(o.score-max(o.next, -1000), 100) }

type queued struct {
	unit int32
	key  float32
}

type offerQueue struct{ list []queued }

func (q *offerQueue) Len() int { return len(q.list) }
func (q *offerQueue) Less(i, j int) bool {
	return q.list[i].key > q.list[j].key || q.list[i].key == q.list[j].key && q.list[i].unit < q.list[j].unit
}
func (q *offerQueue) Swap(i, j int) { q.list[i], q.list[j] = q.list[j], q.list[i] }
func (q *offerQueue) Push(x any)    { q.list = append(q.list, x.(queued)) }
func (q *offerQueue) Pop() any {
	last := q.list[len(q.list)-1]
	q.list = q.list[:len(q.list)-1]
	return last
}

// first reports whether key would still be at the top.
func (q *offerQueue) first(key float32) bool {
	for i := 1; i <= 2 && i < len(q.list); i++ {
		if q.list[i].key > key {
			return false
		}
	}
	return true
}
