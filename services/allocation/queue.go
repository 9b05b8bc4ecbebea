package allocation

import "container/heap"

// boundQueue holds the open nodes of a tree and gives the one with the highest bound first, of equal ones the youngest.
type boundQueue[N interface{ upTo() micro }] struct {
	open []openNode[N]
	seq  int
}

type openNode[N any] struct {
	node N
	seq  int
}

func (q *boundQueue[N]) add(n N) {
	q.seq++
	heap.Push((*nodeHeap[N])(q), openNode[N]{n, q.seq})
}

// next takes out the first node; there must be one.
func (q *boundQueue[N]) next() N { return heap.Pop((*nodeHeap[N])(q)).(openNode[N]).node }

func (q *boundQueue[N]) len() int { return len(q.open) }

// bound is the highest of all nodes, 0 when there is none.
func (q *boundQueue[N]) bound() micro {
	if len(q.open) == 0 {
		return 0
	}
	return q.open[0].node.upTo()
}

// nodeHeap is the same for container/heap.
type nodeHeap[N interface{ upTo() micro }] boundQueue[N]

func (q *nodeHeap[N]) Len() int { return len(q.open) }
func (q *nodeHeap[N]) Less(i, j int) bool {
	a, b := q.open[i], q.open[j]
	if x, y := a.node.upTo(), b.node.upTo(); x != y {
		return x > y
	}
	return a.seq > b.seq
}
func (q *nodeHeap[N]) Swap(i, j int) { q.open[i], q.open[j] = q.open[j], q.open[i] }
func (q *nodeHeap[N]) Push(x any)    { q.open = append(q.open, x.(openNode[N])) }
func (q *nodeHeap[N]) Pop() any {
	last := len(q.open) - 1
	x := q.open[last]
	q.open[last] = openNode[N]{}
	q.open = q.open[:last]
	return x
}
