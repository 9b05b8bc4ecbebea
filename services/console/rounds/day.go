package rounds

import (
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// dayView is a trainer's day.
type dayView struct {
	Trainer, Name  string
	Site, SiteName string
	Day, Zone      string
	Path           string
	Before, After  string // the days around it
	Starts, Ends   string
	Stale, Today   bool
	// Withheld says that contacts are not for who looks.
	Withheld       bool
	NoPlan, MayLog bool
	// NowMS is the server's clock in milliseconds, for phones whose own is wrong.
	NowMS  int64
	Dogs   []*dog
	Lines  []*line
	Drops  []*daysheetv1.Drop
	Notes  []string
	Logged []*logged
	Skills []*trainingv1.Skill
	// Now and Next are the lines that are on and come next; nil for none.
	Now, Next *line
	Form      *form
	Trouble   *frame.Trouble

	zone *time.Location
}

// dog is what to know before one is touched.
type dog struct {
	*daysheetv1.Dog
	// Grave are the cautions that stand out; the others can be opened.
	Grave, Other []*daysheetv1.Caution
}

// line is one thing to do.
type line struct {
	*daysheetv1.Line
	FromMS, ToMS int64
	Dog          *dog
	// Key names the line on its day.
	Key string
	// Done says that a session of it was logged.
	Done bool
	// LogPath opens its form; empty where nothing is logged.
	LogPath string
	// Entry is what the form of the line begins with, as JSON for the phone.
	Entry string
}

// logged is a session that has arrived.
type logged struct {
	*trainingv1.Session
	At, DogName, SkillName string
	// Mend opens its correction.
	Mend  string
	Entry string
}

// graveAbouts are cautions that nobody may miss, as the sheet names them.
var graveAbouts = []string{"not here", "isolated", "watch", "two people", "bite", "keep apart", "medicine", "in season", "heat"}

// readDay reads a trainer's day with three calls, however much is on it.
func readDay(v *frame.Visit) (*dayView, error) {
	view := &dayView{Trainer: v.Path("trainer"), Day: v.Path("day"), MayLog: v.May(mayLog), NowMS: v.Now().UnixMilli()}
	sheet, err := daysheetv1.NewDaySheetServiceClient(v.Conn).GetTrainerDay(v.Context(), &daysheetv1.GetTrainerDayRequest{TrainerCode: view.Trainer, Day: view.Day})
	if err != nil {
		return nil, err
	}
	logs := trainingv1.NewTrainingServiceClient(v.Conn)
	held, err := logs.ListTrainerSessions(v.Context(), &trainingv1.ListTrainerSessionsRequest{TrainerCode: view.loggedAs(v), Day: view.Day})
	if err != nil {
		return nil, err
	}
	ladder, err := logs.ListSkills(v.Context(), &trainingv1.ListSkillsRequest{})
	if err != nil {
		return nil, err
	}
	view.Skills = ladder.GetSkills()
	view.Name, view.Site, view.SiteName, view.Zone = sheet.GetTrainerName(), sheet.GetSiteCode(), sheet.GetSiteName(), sheet.GetZone()
	view.Path = pathOf(view.Trainer, view.Day)
	if view.zone, err = calendar.LoadZone(view.Zone); err != nil {
		return nil, err
	}
	day, err := calendar.ParseDate(view.Day)
	if err != nil {
		return nil, err
	}
	view.Before, view.After = pathOf(view.Trainer, day.AddDays(-1).String()), pathOf(view.Trainer, day.AddDays(1).String())
	view.Today = day == calendar.DateIn(v.Now(), view.zone)
	view.NoPlan = sheet.GetSheet() == nil
	view.addSheet(sheet.GetSheet())
	view.addLogged(held.GetSessions())
	view.mark(v.Now())
	return view, nil
}

// loggedAs is the trainer whose sessions are logged here: a trainer logs their own, also with the dogs of another's day; others log for the
// trainer whose day it is.
func (d *dayView) loggedAs(v *frame.Visit) string {
	if v.Person.TrainerCode != "" {
		return v.Person.TrainerCode
	}
	return d.Trainer
}

func (d *dayView) addSheet(s *daysheetv1.DaySheet) {
	if s == nil {
		return
	}
	d.Stale, d.Notes, d.Withheld = s.GetStale(), s.GetNotes(), s.GetPhonesWithheld()
	dogs := map[string]*dog{}
	for _, x := range s.GetDogs() {
		one := &dog{Dog: x}
		for _, c := range x.GetCautions() {
			if slices.Contains(graveAbouts, c.GetAbout()) || c.GetAbout() == "care" && x.GetCareClass() != "open" {
				one.Grave = append(one.Grave, c)
			} else {
				one.Other = append(one.Other, c)
			}
		}
		dogs[x.GetCode()] = one
	}
	for _, sheet := range s.GetTrainers() {
		d.Starts, d.Ends, d.Drops = sheet.GetStarts(), sheet.GetEnds(), sheet.GetDrops()
		for n, x := range sheet.GetLines() {
			one := &line{Line: x, FromMS: x.GetStartsAt().AsTime().UnixMilli(), ToMS: x.GetEndsAt().AsTime().UnixMilli(), Dog: dogs[x.GetDogCode()], Key: fmt.Sprint(n)}
			d.Lines = append(d.Lines, one)
			if one.Dog != nil && !slices.Contains(d.Dogs, one.Dog) {
				d.Dogs = append(d.Dogs, one.Dog) // in the order in which they are fetched
			}
			if d.MayLog && x.GetKind() == "session" {
				one.LogPath = d.Path + "?" + url.Values{"log": {one.Key}}.Encode()
				one.Entry = asJSON(d.formOf(one))
			}
		}
		for _, code := range sheet.GetDogCodes() { // the trainer's own that have nothing today
			if one := dogs[code]; one != nil && !slices.Contains(d.Dogs, one) {
				d.Dogs = append(d.Dogs, one)
			}
		}
	}
}

func (d *dayView) addLogged(sessions []*trainingv1.Session) {
	for _, s := range sessions {
		if s.GetTrials() == 0 && s.GetReplacesId() != "" {
			continue // taken back
		}
		one := &logged{Session: s, At: calendar.ClockIn(s.GetTrainedAt().AsTime(), d.zone).String(), DogName: d.dogName(s.GetDogCode()), SkillName: d.skillName(s.GetSkillCode())}
		if d.MayLog {
			one.Mend = d.Path + "?" + url.Values{"correct": {s.GetId()}}.Encode()
			one.Entry = asJSON(d.formOfLogged(one))
		}
		d.Logged = append(d.Logged, one)
		for _, l := range d.Lines {
			if !l.Done && l.GetKind() == "session" && l.GetDogCode() == s.GetDogCode() && (l.GetSkillCode() == s.GetSkillCode() || l.GetSkillCode() == "") {
				l.Done = true
				break
			}
		}
	}
}

// DogNamed is what a dog is called; its code where it is not known.
func (d *dayView) DogNamed(code string) string { return d.dogName(code) }

// IsNear reports that a dog is being worked, or comes next.
func (d *dayView) IsNear(code string) bool {
	return d.Now != nil && d.Now.GetDogCode() == code || d.Next != nil && d.Next.GetDogCode() == code
}

// Near reports that any dog is.
func (d *dayView) Near() bool {
	return slices.ContainsFunc(d.Dogs, func(x *dog) bool { return d.IsNear(x.GetCode()) })
}

// shownDog is a dog as the page lists it.
type shownDog struct {
	Dog            *dog
	Open, Withheld bool
}

// Shown is a dog with its cautions open or folded.
func (d *dayView) Shown(x *dog, open bool) shownDog { return shownDog{x, open, d.Withheld} }

// Blank is an empty form, for the phone.
func (d *dayView) Blank() string { return asJSON(d.blank()) }

// InShort names the cautions that stand out.
func (x *dog) InShort() string {
	var words []string
	for _, c := range x.Grave {
		if c.GetAbout() == "care" {
			words = append(words, x.GetCareClass()+": not for everybody")
		} else {
			words = append(words, c.GetAbout())
		}
	}
	return strings.Join(words, "; ")
}

// Past reports that a line is over.
func (l *line) Past(now int64) bool { return l.ToMS <= now }

func (d *dayView) dogName(code string) string {
	for _, x := range d.Dogs {
		if x.GetCode() == code {
			return x.GetName()
		}
	}
	return code
}

func (d *dayView) skillName(code string) string {
	for _, s := range d.Skills {
		if s.GetCode() == code {
			return s.GetName()
		}
	}
	return code
}

// mark finds what is now and what comes next.
func (d *dayView) mark(now time.Time) {
	ms := now.UnixMilli()
	for _, l := range d.Lines {
		switch {
		case l.FromMS <= ms && ms < l.ToMS:
			d.Now = l
		case ms < l.FromMS && d.Next == nil:
			d.Next = l
		}
	}
}

// What says what a line is, in a word.
func (l *line) What() string {
	switch l.GetKind() {
	case "session":
		if l.GetSkillName() != "" {
			return l.GetSkillName()
		}
		return "Session"
	case "meal":
		return "Your meal"
	case "rest":
		return "Short break"
	case "intake":
		return "Arrival"
	case "handover":
		return "Handover"
	}
	return l.GetKind()
}

// Contact says whom to call.
func (dog) Contact(c *daysheetv1.Contact) string {
	if c.GetName() == "" && c.GetPhone() == "" {
		return "not on record"
	}
	return c.GetName() + " " + c.GetPhone()
}

func asJSON(x any) string {
	text, err := json.Marshal(x)
	if err != nil {
		return "{}" // made of strings and numbers: it cannot fail
	}
	return string(text)
}

// showDay shows a trainer's day, with the form of a session where one is asked for.
func showDay(v *frame.Visit) error {
	view, err := readDay(v)
	if err != nil {
		return err
	}
	if view.MayLog {
		view.Form = view.formFor(v)
	}
	return v.Show(dayPage, view)
}
