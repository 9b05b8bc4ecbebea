package slots

import (
	"cmp"
	"slices"
)

// limit is a set of options of which only so many can be taken.
type limit struct {
	room   int32
	parent int // the next larger limit with all of its options; -1 for none
	size   int // options
}

// nested looks whether the part is an assignment: its limits, taken once each where several cells are used by the very same options, are
// apart or lie one within the other. Then leaf is, by option, the smallest limit that it falls under (-1 for none).
func (x *part) nested() (limits []limit, leaf []int, ok bool) {
	class, members := x.classes()
	limits = make([]limit, len(members))
	for c := range limits {
		limits[c] = limit{room: -1, parent: -1}
	}
	for c, n := range class {
		if r := x.room[c]; limits[n].room < 0 || r < limits[n].room {
			limits[n].room = r
		}
	}
	under := make([][]int, len(x.all))
	for o := range x.all {
		seen := map[int]int{}
		for _, s := range x.all[o].cells() {
			for c := s.lo; c < s.hi; c++ {
				seen[class[c]]++
			}
		}
		for n, count := range seen {
			if count != members[n] {
				return nil, nil, false // two sets were taken for one
			}
			limits[n].size++
			under[o] = append(under[o], n)
		}
	}
	leaf = make([]int, len(x.all))
	parented := make([]bool, len(limits))
	for o, list := range under {
		slices.SortFunc(list, func(a, b int) int { return cmp.Or(cmp.Compare(limits[a].size, limits[b].size), cmp.Compare(a, b)) })
		leaf[o] = -1
		for k := range list {
			if k == 0 {
				leaf[o] = list[0]
			}
			parent := -1
			if k+1 < len(list) {
				parent = list[k+1]
			}
			if parented[list[k]] && limits[list[k]].parent != parent {
				return nil, nil, false
			}
			limits[list[k]].parent, parented[list[k]] = parent, true
		}
	}
	return limits, leaf, true
}

// classes puts cells that are used by the same options into one class, by a sum of numbers drawn for the options; nested makes sure of it. It
// returns the class of each cell and how many cells each class has.
func (x *part) classes() (class, members []int) {
	type mark struct{ a, b uint64 }
	change := make([]mark, len(x.room)+1)
	for o := range x.all {
		m := mark{mixed(uint64(2 * o)), mixed(uint64(2*o + 1))}
		for _, s := range x.all[o].cells() {
			for _, c := range []int32{s.lo, s.hi} {
				change[c].a ^= m.a
				change[c].b ^= m.b
			}
		}
	}
	known := map[mark]int{}
	var now mark
	class = make([]int, len(x.room))
	for c := range class {
		now.a ^= change[c].a
		now.b ^= change[c].b
		n, ok := known[now]
		if !ok {
			n = len(members)
			known[now] = n
			members = append(members, 0)
		}
		class[c] = n
		members[n]++
	}
	return class, members
}

// mixed is the finaliser of splitmix64: a number without visible order for each n.
func mixed(n uint64) uint64 {
	n += 0x9e3779b97f4a7c15
	n = (n ^ n>>30) * 0xbf58476d1ce4e5b9
	n = (n ^ n>>27) * 0x94d049bb133111eb
	return n ^ n>>31
}

// arc is an arc of a flow network; its reverse stands beside it (number ^ 1).
type arc struct {
	to, room, cost int
	option         int32 // that taking the arc means, -1 for none
}

type network struct {
	arcs []arc
	out  [][]int
}

func (g *network) join(from, to, room, cost int, option int32) {
	g.out[from] = append(g.out[from], len(g.arcs))
	g.out[to] = append(g.out[to], len(g.arcs)+1)
	g.arcs = append(g.arcs, arc{to, room, cost, option}, arc{from, 0, -cost, -1})
}

// assign solves a part with nested limits as a flow at least cost: each visit sends one unit, through an option and the limits about it, to the
// sink. Shortest ways that make the flow longer by one give an optimum for each amount (Jewell 1958, Busacker and Gowen 1961: from memory).
// The options that were picked are returned by visit.
func (x *part) assign(limits []limit, leaf []int) (picks []int32, cost int) {
	visits := len(x.visits)
	node := func(limit int) int {
		if limit < 0 {
			return 1
		}
		return 2 + visits + limit
	}
	g := &network{out: make([][]int, 2+visits+len(limits))} // 0: source, 1: sink
	for v := range visits {
		g.join(0, 2+v, 1, 0, -1)
		joined := map[int]bool{}
		for o := x.first[v]; o < x.first[v+1]; o++ {
			if to := node(leaf[o]); !joined[to] { // the first is the cheapest
				joined[to] = true
				g.join(2+v, to, 1, x.all[o].cost, o)
			}
		}
	}
	for n, l := range limits {
		g.join(node(n), node(l.parent), int(l.room), 0, -1)
	}
	for range visits {
		cost += g.augment()
	}
	picks = make([]int32, visits)
	for n, a := range g.arcs {
		if a.option >= 0 && a.room == 0 {
			picks[g.arcs[n^1].to-2] = a.option
		}
	}
	return picks, cost
}

// augment sends one unit from the source to the sink on a cheapest way (Bellman and Ford, with a queue) and returns what it costs.
func (g *network) augment() (cost int) {
	const far = int(^uint(0) >> 1)
	dist, via := make([]int, len(g.out)), make([]int, len(g.out))
	waiting := make([]bool, len(g.out))
	for n := range dist {
		dist[n], via[n] = far, -1
	}
	dist[0] = 0
	for queue := []int{0}; len(queue) > 0; queue = queue[1:] {
		n := queue[0]
		waiting[n] = false
		for _, a := range g.out[n] {
			if x := g.arcs[a]; x.room > 0 && dist[n]+x.cost < dist[x.to] {
				dist[x.to], via[x.to] = dist[n]+x.cost, a
				if !waiting[x.to] {
					waiting[x.to] = true
					queue = append(queue, x.to)
				}
			}
		}
	}
	for n := 1; n != 0; n = g.arcs[via[n]^1].to {
		g.arcs[via[n]].room--
		g.arcs[via[n]^1].room++
	}
	return dist[1]
}
