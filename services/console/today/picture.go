package today

import (
	"fmt"
	"slices"
	"time"

	"github.com/longlead/longlead/services/calendar"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

// Measures of the picture, in its own units; it is shown at that size and scrolls where the window is narrower.
const (
	leftEdge  = 132
	rightEdge = 24
	wide      = 1120
	laneHigh  = 30
	laneGap   = 10
	topEdge   = 34
	barHigh   = 24
	letterish = 7 // the width of a letter
)

// picture is a day on one line of time.
type picture struct {
	Width, Height int
	Hours         []tick
	Rows          []row
	// Now is where the line of the hour is; 0 for none.
	Now int
	// Foot is the lower end of lines.
	Foot int
}

type tick struct {
	X     int
	Label string
}

// row is a trainer's or an area's day.
type row struct {
	Y, Middle, Below, High int
	Name, Note             string
	// Open is when somebody is at work or a place may be used.
	Open  []bar
	Shut  []bar
	Marks []bar
}

// bar is a stretch of time.
type bar struct {
	X, Y, W, H int
	Class      string
	Label      string
	Title      string
	MidX, MidY int
}

type scale struct {
	from    time.Time
	minutes int
}

func (s scale) x(t time.Time) int {
	m := min(max(0, int(t.Sub(s.from).Minutes())), s.minutes)
	return leftEdge + m*(wide-leftEdge-rightEdge)/s.minutes
}

func (s scale) bar(from, to time.Time, y, high int) bar {
	b := bar{X: s.x(from), Y: y, H: high}
	b.W = max(2, s.x(to)-b.X)
	b.MidX, b.MidY = b.X+b.W/2, y+high/2+4
	return b
}

// draw draws the day, by trainer or by area.
func (d *dayView) draw(day calendar.Date) (*picture, error) {
	at := func(text string) (time.Time, error) {
		if text == "24:00" {
			_, end, err := calendar.DayBounds(day, d.zone)
			return end, err
		}
		clock, err := calendar.ParseClock(text)
		if err != nil {
			return time.Time{}, err
		}
		when, err := calendar.At(day, clock, d.zone)
		if skipped, ok := err.(*calendar.SkippedError); ok {
			return skipped.Resumes, nil
		}
		return when, err
	}
	s, err := d.extent(at)
	if err != nil {
		return nil, err
	}
	p := &picture{Width: wide}
	for t := s.from; !t.After(s.from.Add(time.Duration(s.minutes) * time.Minute)); t = t.Add(time.Hour) {
		p.Hours = append(p.Hours, tick{s.x(t), calendar.ClockIn(t, d.zone).String()})
	}
	if d.ByArea {
		err = d.addAreas(p, s, at)
	} else {
		err = d.addTrainers(p, s, at)
	}
	p.Foot = topEdge
	if n := len(p.Rows); n > 0 {
		p.Foot = p.Rows[n-1].Y + p.Rows[n-1].High
	}
	p.Height = p.Foot + 22
	if end := s.from.Add(time.Duration(s.minutes) * time.Minute); d.Today && d.now.After(s.from) && d.now.Before(end) {
		p.Now = s.x(d.now)
	}
	return p, err
}

// extent is from the hour in which the first begins to the one in which the last ends.
func (d *dayView) extent(at func(string) (time.Time, error)) (scale, error) {
	var first, last time.Time
	widen := func(from, to time.Time) {
		if first.IsZero() || from.Before(first) {
			first = from
		}
		if to.After(last) {
			last = to
		}
	}
	for _, sheet := range d.Sheet.GetTrainers() {
		if sheet.GetStarts() != "" {
			from, err := at(sheet.GetStarts())
			if err != nil {
				return scale{}, err
			}
			to, err := at(sheet.GetEnds())
			if err != nil {
				return scale{}, err
			}
			widen(from, to)
		}
		for _, l := range sheet.GetLines() {
			widen(l.GetStartsAt().AsTime(), l.GetEndsAt().AsTime())
		}
	}
	if first.IsZero() {
		from, err := at("08:00")
		if err != nil {
			return scale{}, err
		}
		widen(from, from.Add(8*time.Hour))
	}
	first = first.Truncate(time.Hour)
	return scale{first, max(60, (int(last.Sub(first).Minutes())+59)/60*60)}, nil
}

func (d *dayView) addTrainers(p *picture, s scale, at func(string) (time.Time, error)) error {
	y := topEdge
	for _, sheet := range d.Sheet.GetTrainers() {
		r := row{Y: y, High: laneHigh, Middle: y + laneHigh/2 + 4, Name: short(sheet.GetTrainerName(), 17)}
		if sheet.GetStarts() != "" {
			from, err := at(sheet.GetStarts())
			if err != nil {
				return err
			}
			to, err := at(sheet.GetEnds())
			if err != nil {
				return err
			}
			r.Open = append(r.Open, s.bar(from, to, y, laneHigh))
		}
		for _, l := range sheet.GetLines() {
			r.Marks = append(r.Marks, d.mark(s, l, y+(laneHigh-barHigh)/2))
		}
		p.Rows = append(p.Rows, r)
		y += laneHigh + laneGap
	}
	return nil
}

// mark is one thing to do. Its label is the number of the dog's run, where there is room.
func (d *dayView) mark(s scale, l *daysheetv1.Line, y int) bar {
	b := s.bar(l.GetStartsAt().AsTime(), l.GetEndsAt().AsTime(), y, barHigh)
	b.Class = map[string]string{"session": "kept", "meal": "free", "rest": "free", "intake": "duty", "handover": "duty"}[l.GetKind()]
	b.Title = fmt.Sprintf("%s to %s, %s", l.GetStarts(), l.GetEnds(), lineWords(l))
	if l.GetDogCode() != "" {
		dog := d.dog(l.GetDogCode())
		b.Title += fmt.Sprintf(", %s, run %s", dog.GetName(), dog.GetRun())
		b.Label = dog.GetRun()
		if full := dog.GetRun() + " " + dog.GetName(); len([]rune(full))*letterish < b.W {
			b.Label = full
		}
	}
	if l.GetTrainerCode() != "" && d.ByArea {
		b.Title += ", " + l.GetTrainerCode()
	}
	if len([]rune(b.Label))*letterish > b.W+4 {
		b.Label = ""
	}
	return b
}

// addAreas draws each area with as many lanes as dogs are in it at once.
func (d *dayView) addAreas(p *picture, s scale, at func(string) (time.Time, error)) error {
	y := topEdge
	for _, a := range d.Conditions.GetAreas() {
		var lines []*daysheetv1.Line
		for _, sheet := range d.Sheet.GetTrainers() {
			for _, l := range sheet.GetLines() {
				if l.GetAreaCode() == a.GetCode() && l.GetTrainerCode() == sheet.GetTrainerCode() { // the second person's line is the same session
					lines = append(lines, l)
				}
			}
		}
		slices.SortStableFunc(lines, func(x, y *daysheetv1.Line) int { return x.GetStartsAt().AsTime().Compare(y.GetStartsAt().AsTime()) })
		r := row{Y: y, Name: short(a.GetCode(), 17), Note: fmt.Sprintf("%s, %d at once", a.GetKind(), a.GetDogsAtOnce())}
		var lanes []time.Time
		for _, l := range lines {
			lane := slices.IndexFunc(lanes, func(end time.Time) bool { return !end.After(l.GetStartsAt().AsTime()) })
			if lane < 0 {
				lane = len(lanes)
				lanes = append(lanes, time.Time{})
			}
			lanes[lane] = l.GetEndsAt().AsTime()
			r.Marks = append(r.Marks, d.mark(s, l, y+3+lane*(barHigh+3)))
		}
		r.High = max(laneHigh, len(lanes)*(barHigh+3)+3)
		r.Middle, r.Below = y+11, y+25
		if err := d.addShut(&r, a.GetCode(), a.GetOutdoors(), s, at); err != nil {
			return err
		}
		p.Rows = append(p.Rows, r)
		y += r.High + laneGap
	}
	return nil
}

// addShut draws when an area is closed, by people or by heat.
func (d *dayView) addShut(r *row, code string, outdoors bool, s scale, at func(string) (time.Time, error)) error {
	shut := func(fromText, toText, class, title string) error {
		from, err := at(fromText)
		if err != nil {
			return err
		}
		to, err := at(toText)
		if err != nil {
			return err
		}
		b := s.bar(from, to, r.Y, r.High)
		b.Class, b.Title = class, title
		r.Shut = append(r.Shut, b)
		return nil
	}
	for _, c := range d.Conditions.GetClosures() {
		if c.GetAreaCode() == code {
			if err := shut(c.GetFrom(), c.GetTo(), "shut", "closed: "+c.GetReason()); err != nil {
				return err
			}
		}
	}
	for _, h := range d.Conditions.GetHeat() {
		if outdoors && h.GetClosedSensitive() {
			title := "too hot for dogs with the lower limit"
			if h.GetClosed() {
				title = "too hot for all dogs"
			}
			if err := shut(h.GetFrom(), h.GetTo(), "hot", title); err != nil {
				return err
			}
		}
	}
	return nil
}

// short is a name that fits beside the picture.
func short(name string, letters int) string {
	if r := []rune(name); len(r) > letters {
		return string(r[:letters-1]) + "…"
	}
	return name
}
