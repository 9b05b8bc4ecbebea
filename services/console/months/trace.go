package months

import (
	"fmt"
	"strings"
	"time"
)

// moment is what a search knows at one time.
type moment struct {
	After        time.Duration
	Value, Bound int64
	Bounded      bool
}

// trace is value and bound over time, drawn.
type trace struct {
	Width, Height int
	// Value and Bound are lines; Bound is empty while none is proven.
	Value, Bound string
	// ValueY and BoundY are where they end, kept apart far enough for words.
	ValueY, BoundY int
	// Edge is where the lines end.
	Edge    int
	Seconds int
	Last    moment
}

// Sizes of the picture; right of traceEdge stand the words.
const (
	traceWide, traceHigh, traceEdge, traceTop, traceFloor = 640, 220, 470, 18, 190
	// wordsApart is how far apart words must stand to be read.
	wordsApart = 18
)

// traceOf draws what a search has come to. The scale is that of the gap at the end: what happened far away from it lies at the edge, so that
// value and bound can be seen to close in on each other.
func traceOf(seen []moment) trace {
	last := seen[len(seen)-1]
	t := trace{Width: traceWide, Height: traceHigh, Edge: traceEdge, Last: last, Seconds: int(last.After / time.Second)}
	low, high := last.Value, last.Value
	if last.Bounded {
		high = max(last.Bound, last.Value)
	}
	room := max(1, (high-low)*2, high/200)
	low, high = low-room, high+room
	y := func(points int64) int {
		points = min(max(points, low), high)
		return traceFloor - int((points-low)*(traceFloor-traceTop)/(high-low))
	}
	x := func(after time.Duration) int {
		if last.After <= 0 {
			return 0
		}
		return int(int64(traceEdge) * int64(after/time.Millisecond) / max(1, int64(last.After/time.Millisecond)))
	}
	var value, bound steps
	for _, m := range seen {
		if m.Value != 0 || value.begun {
			value.to(x(m.After), y(m.Value))
		}
		if m.Bounded {
			bound.to(x(m.After), y(m.Bound))
		}
	}
	if !value.begun {
		value.to(0, y(last.Value)) // nothing is found yet: a line along the floor
	}
	t.Value, t.ValueY = value.line(traceEdge), y(last.Value)
	if last.Bounded {
		t.Bound, t.BoundY = bound.line(traceEdge), y(last.Bound)
		if t.ValueY-t.BoundY < wordsApart {
			t.BoundY = t.ValueY - wordsApart
		}
	}
	return t
}

// steps is a line that stays as it is until something changes.
type steps struct {
	b     strings.Builder
	lastY int
	begun bool
}

func (s *steps) to(x, y int) {
	switch {
	case !s.begun:
		fmt.Fprintf(&s.b, "M%d %d", x, y)
	case y != s.lastY:
		fmt.Fprintf(&s.b, "H%dV%d", x, y)
	}
	s.begun, s.lastY = true, y
}

// line ends the line at the right.
func (s *steps) line(edge int) string {
	if !s.begun {
		return ""
	}
	return fmt.Sprintf("%sH%d", s.b.String(), edge)
}
