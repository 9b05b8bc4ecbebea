package today

import (
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// dayView is a site's day.
type dayView struct {
	Site          *facilityv1.Site
	Sites         []*facilityv1.Site
	Day           string
	Before, After string
	Path          string
	Today, Over   bool
	// Begun says that people work by the plan already.
	Begun   bool
	MayPlan bool
	// Clock is what the site's clocks show.
	Clock      string
	Plan       *dayplanv1.DayPlan // nil for none
	Conditions *dayplanv1.Conditions
	Sheet      *daysheetv1.DaySheet // nil without a plan
	Isolation  *plannerv1.ListIsolationsResponse
	ByArea     bool
	Wrong      []finding
	Know       []string
	Picture    *picture
	Trouble    *frame.Trouble

	zone *time.Location
	now  time.Time
}

// readDay reads a day, with the same calls whatever is on it.
func readDay(v *frame.Visit) (*dayView, error) {
	d := &dayView{Day: v.Path("day"), Path: pathOf(v.Path("site"), v.Path("day")), MayPlan: v.May(mayPlan), ByArea: v.Query("by") == "area", now: v.Now()}
	var err error
	if d.Sites, err = listSites(v); err != nil {
		return nil, err
	}
	days, err := dayplanv1.NewDayPlanServiceClient(v.Conn).GetDay(v.Context(), &dayplanv1.GetDayRequest{SiteCode: v.Path("site"), Day: d.Day, KeptOnly: true})
	if err != nil {
		return nil, err
	}
	d.Plan, d.Conditions = days.GetPlan(), days.GetConditions()
	for _, s := range d.Sites {
		if s.GetCode() == v.Path("site") {
			d.Site = s
		}
	}
	if d.Plan != nil {
		sheets, err := daysheetv1.NewDaySheetServiceClient(v.Conn).GetDaySheet(v.Context(), &daysheetv1.GetDaySheetRequest{SiteCode: v.Path("site"), Day: d.Day})
		if err != nil {
			return nil, err
		}
		d.Sheet = sheets.GetSheet()
	}
	if d.Isolation, err = plannerv1.NewMendServiceClient(v.Conn).ListIsolations(v.Context(), &plannerv1.ListIsolationsRequest{SiteCode: v.Path("site"), Day: d.Day}); err != nil {
		return nil, err
	}
	return d, d.finish()
}

func (d *dayView) finish() (err error) {
	if d.zone, err = calendar.LoadZone(d.Conditions.GetZone()); err != nil {
		return err
	}
	day, err := calendar.ParseDate(d.Day)
	if err != nil {
		return err
	}
	today := calendar.DateIn(d.now, d.zone)
	d.Today, d.Over, d.Clock = day == today, day.Before(today), calendar.ClockIn(d.now, d.zone).String()
	d.Before, d.After = pathOf(d.Site.GetCode(), day.AddDays(-1).String()), pathOf(d.Site.GetCode(), day.AddDays(1).String())
	for _, b := range d.Plan.GetBlocks() {
		d.Begun = d.Begun || !b.GetStartsAt().AsTime().After(d.now)
	}
	d.findWrong()
	if d.Sheet != nil {
		d.Picture, err = d.draw(day)
	}
	return err
}

// Held and Asked are the sessions that are held, and those that should be.
func (d *dayView) Held() int { return len(d.Plan.GetBlocks()) }

// Asked is how many sessions the day's dogs should have.
func (d *dayView) Asked() int { return len(d.Plan.GetBlocks()) + len(d.Plan.GetDrops()) }

// Duties counts those of a kind.
func (d *dayView) Duties(kind string) (n int) {
	for _, x := range d.Plan.GetDuties() {
		if x.GetKind() == kind {
			n++
		}
	}
	return n
}

// dog finds a dog of the day by its code; an empty one where it is not there.
func (d *dayView) dog(code string) *daysheetv1.Dog {
	for _, x := range d.Sheet.GetDogs() {
		if x.GetCode() == code {
			return x
		}
	}
	return &daysheetv1.Dog{Code: code, Name: code}
}

// Named is a dog's name.
func (d *dayView) Named(code string) string { return d.dog(code).GetName() }

// Run is the number of a dog's run.
func (d *dayView) Run(code string) string { return d.dog(code).GetRun() }

// Dogs are those that are here, by run.
func (d *dayView) Dogs() []*daysheetv1.Dog {
	dogs := slices.Clone(d.Sheet.GetDogs())
	slices.SortStableFunc(dogs, func(a, b *daysheetv1.Dog) int {
		if x := strings.Compare(a.GetRow(), b.GetRow()); x != 0 {
			return x
		}
		if len(a.GetRun()) != len(b.GetRun()) {
			return len(a.GetRun()) - len(b.GetRun())
		}
		return strings.Compare(a.GetRun(), b.GetRun())
	})
	return dogs
}

// Watch names what stands out of a dog's cautions.
func (d *dayView) Watch(x *daysheetv1.Dog) string {
	var words []string
	for _, c := range x.GetCautions() {
		switch c.GetAbout() {
		case "meals", "note", "know", "care":
		default:
			words = append(words, c.GetAbout())
		}
	}
	if x.GetCareClass() != "open" && x.GetCareClass() != "" {
		words = append(words, x.GetCareClass())
	}
	return strings.Join(words, ", ")
}

// Coming are the dogs that arrive or go home, as the plan has them.
func (d *dayView) Coming(x *daysheetv1.Dog) string {
	for _, y := range d.Plan.GetDuties() {
		if y.GetDogCode() == x.GetCode() {
			return map[string]string{"intake": "arrives", "handover": "goes home"}[y.GetKind()] + " " + y.GetStarts()
		}
	}
	return ""
}

// entry is one row of the day in words.
type entry struct {
	*daysheetv1.Line
	Dog  *daysheetv1.Dog
	What string
}

// Entries are a trainer's day in words.
func (d *dayView) Entries(s *daysheetv1.TrainerSheet) (out []entry) {
	for _, l := range s.GetLines() {
		e := entry{Line: l, What: lineWords(l)}
		if l.GetDogCode() != "" {
			e.Dog = d.dog(l.GetDogCode())
		}
		out = append(out, e)
	}
	return out
}

func lineWords(l *daysheetv1.Line) string {
	switch l.GetKind() {
	case "session":
		if l.GetSkillName() != "" {
			return l.GetSkillName()
		}
		return "session"
	case "meal":
		return "own meal"
	case "rest":
		return "short break"
	case "intake":
		return "arrival"
	}
	return l.GetKind()
}

func showDay(v *frame.Visit) error {
	d, err := readDay(v)
	if err != nil {
		return err
	}
	return v.Show(dayPage, d)
}
