package months

import (
	"fmt"
	"strings"

	"github.com/longlead/longlead/services/calendar"
)

// drawing is a small picture as paths of SVG: what the templates put around it is the same for all.
type drawing struct {
	Width, Height int
	// Kept, Plan and Free are bars: promises, proposals, and nothing there.
	Kept, Plan string
	// Line is capacity, Cap where it is used up.
	Line, Cap string
}

// Sizes of the bars of a week, in pixels. The line of capacity lies capY below the top, so that what lies above it can be seen.
const (
	weekWide, weekGap, weekHigh, capY = 13, 3, 40, 8
	// mostOver is how far above capacity a bar is drawn, in percent of capacity.
	mostOver = 120
)

// weekBars draws a bar for each week below one line of capacity. Where days of a week are full the line is capped, over the share of them.
func weekBars(w weekly, days []int32, draft bool) drawing {
	d := drawing{Width: len(w.used)*(weekWide+weekGap) + weekGap, Height: weekHigh}
	var bars, caps strings.Builder
	for i := range w.used {
		x := weekGap + i*(weekWide+weekGap)
		if w.capacity[i] > 0 {
			drawBar(&bars, x, weekWide, heightOf(w.used[i], w.capacity[i], weekHigh-capY), weekHigh)
		}
		if i < len(w.full) && i < len(days) && days[i] > 0 && w.full[i] > 0 {
			wide := max(2, int(int32(weekWide)*min(w.full[i], days[i])/days[i]))
			fmt.Fprintf(&caps, "M%d %dh%dv4h-%dz", x, capY-4, wide, wide)
		}
	}
	d.fill(bars.String(), draft)
	d.Cap = caps.String()
	d.Line = fmt.Sprintf("M0 %dh%d", capY, d.Width)
	return d
}

// fill keeps bars as promises or as a proposal.
func (d *drawing) fill(bars string, draft bool) {
	if draft {
		d.Plan = bars
	} else {
		d.Kept = bars
	}
}

// heightOf is the height of a bar where full is that of capacity. What is used at all is seen.
func heightOf(used, capacity int64, full int) int {
	if used <= 0 {
		return 0
	}
	percent := min(mostOver, (used*100+capacity-1)/capacity)
	return max(1, int(percent)*full/100)
}

func drawBar(b *strings.Builder, x, wide, high, floor int) {
	if high > 0 {
		fmt.Fprintf(b, "M%d %dv-%dh%dv%dz", x, floor, high, wide, high)
	}
}

// dayMarks are the numbers of the days above the bars of a site: each Monday's, and the first's.
func dayMarks(first calendar.Date, days int) []mark {
	var marks []mark
	for i := range days {
		day := first.AddDays(i)
		if i == 0 || day.ISOWeekday() == 1 {
			marks = append(marks, mark{X: i*(dayWide+dayGap) + dayGap/2, Y: 12, Text: day.Format("2 Jan")})
		}
	}
	return marks
}

// Sizes of the bars of a day.
const (
	dayWide, dayGap, dayHigh = 16, 4, 64
)

// dayBars draws a bar for each day below a line of capacity that steps from day to day: there are days without places.
func dayBars(used, capacity []int64, draft bool) drawing {
	d := drawing{Width: len(used) * (dayWide + dayGap), Height: dayHigh}
	var most int64 = 1
	for i := range used {
		most = max(most, used[i], capacity[i])
	}
	const floor, room = dayHigh - 2, dayHigh - 2 - capY
	var bars, caps, line strings.Builder
	for i := range used {
		x := i * (dayWide + dayGap)
		at := floor - int(capacity[i]*room/most)
		drawBar(&bars, x+dayGap/2, dayWide, int(used[i]*room/most), floor)
		fmt.Fprintf(&line, "M%d %dh%d", x, at, dayWide+dayGap)
		if capacity[i] > 0 && used[i] >= capacity[i] {
			fmt.Fprintf(&caps, "M%d %dh%dv4h-%dz", x+dayGap/2, at-4, dayWide, dayWide)
		}
	}
	d.fill(bars.String(), draft)
	d.Line, d.Cap = line.String(), caps.String()
	return d
}
