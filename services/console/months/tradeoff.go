package months

import (
	"fmt"
	"strings"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// tradeOff is the points of a month over the number of promises that move, drawn: what was found, and what is proven to be out of reach.
type tradeOff struct {
	Width, Height int
	// Found are bars up to what was found, Open the pieces from there to what is proven, Bound their upper ends.
	Found, Open, Bound string
	Marks              []mark
	Floor              int
}

// mark is a number of moves with its words.
type mark struct {
	X, Y int
	Text string
	More string
}

// Sizes of the picture: a column for each number of moves.
const (
	moveWide, moveGap, moveHigh, moveTop, moveFloor = 64, 24, 252, 34, 190
	// barRoom is the share of the picture, in percent, that lies below the least that was found: points begin far above 0.
	barRoom = 25
)

// tradeOffOf draws points over moves. The scale begins a little below the least found, which the words beside it say.
func tradeOffOf(points []*plannerv1.MovePoint) tradeOff {
	t := tradeOff{Width: len(points)*(moveWide+moveGap) + moveGap, Height: moveHigh, Floor: moveFloor}
	low, high, any := int64(0), int64(0), false
	for _, p := range points {
		if p.GetFound() && (!any || p.GetPoints() < low) {
			low, any = p.GetPoints(), true
		}
		if !p.GetImpossible() {
			high = max(high, p.GetPoints(), p.GetBound())
		}
	}
	if !any {
		low = high
	}
	low -= max(1, (high-low)*barRoom/(100-barRoom))
	y := func(n int64) int {
		return moveFloor - int((min(max(n, low), high)-low)*(moveFloor-moveTop)/max(1, high-low))
	}
	var found, open, bound strings.Builder
	for i, p := range points {
		x := moveGap + i*(moveWide+moveGap)
		m := mark{X: x + moveWide/2, Y: moveFloor, Text: fmt.Sprint(p.GetMoves())}
		if p.GetFound() {
			m.Y = y(p.GetPoints())
			drawBar(&found, x, moveWide, moveFloor-m.Y, moveFloor)
			m.More = fmt.Sprintf("%d placed", p.GetPlaced())
		}
		if !p.GetImpossible() && p.GetBound() > 0 {
			top := y(p.GetBound())
			fmt.Fprintf(&bound, "M%d %dh%d", x-4, top, moveWide+8)
			fmt.Fprintf(&open, "M%d %dV%d", x+moveWide/2, m.Y, top)
			m.Y = top
		}
		t.Marks = append(t.Marks, m)
	}
	t.Found, t.Open, t.Bound = found.String(), open.String(), bound.String()
	return t
}
