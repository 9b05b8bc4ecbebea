package graduation

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/training"
)

// desk is what letters are written from: whom and what they name.
type desk struct {
	owners   map[ids.DogID]enrollment.Owner
	cases    map[ids.RequestID]enrollment.Case
	sites    map[ids.SiteID]facility.Site
	zones    map[ids.SiteID]*time.Location
	settings map[ids.SiteID]handover.Setting
	trainers map[ids.TrainerID]roster.Trainer
	areas    map[ids.AreaID]facility.Area
	// skills are those that a program teaches, by rung, in words.
	skills map[ids.ProgramID][]string
}

// readDesk reads all that letters about some requests may name. Owners' names and addresses go into letters and nowhere else.
func readDesk(ctx context.Context, tx postgres.Tx, requests []ids.RequestID) (*desk, error) {
	d := &desk{cases: map[ids.RequestID]enrollment.Case{}, sites: map[ids.SiteID]facility.Site{}, zones: map[ids.SiteID]*time.Location{}, settings: map[ids.SiteID]handover.Setting{},
		trainers: map[ids.TrainerID]roster.Trainer{}, areas: map[ids.AreaID]facility.Area{}, skills: map[ids.ProgramID][]string{}}
	cases, err := enrollment.ListCasesByRequest(ctx, tx, requests)
	if err != nil {
		return nil, err
	}
	dogs := make([]ids.DogID, len(cases))
	for i, c := range cases {
		d.cases[c.Request.ID], dogs[i] = c, c.Dog.ID
	}
	if d.owners, err = enrollment.ListOwnersByDog(ctx, tx, dogs); err != nil {
		return nil, err
	}
	for _, part := range []func(context.Context, postgres.Tx) error{d.readSites, d.readSkills} {
		if err := part(ctx, tx); err != nil {
			return nil, err
		}
	}
	return d, nil
}

func (d *desk) readSites(ctx context.Context, tx postgres.Tx) error {
	sites, err := facility.ListSites(ctx, tx)
	if err != nil {
		return err
	}
	for _, s := range sites {
		d.sites[s.ID] = s
		if d.zones[s.ID], err = calendar.LoadZone(s.Zone); err != nil {
			return fmt.Errorf("zone of site %s: %w", s.Code, err)
		}
		if d.settings[s.ID], err = handover.ReadSetting(ctx, tx, s.ID); err != nil {
			return err
		}
	}
	trainers, err := roster.ListTrainers(ctx, tx)
	if err != nil {
		return err
	}
	for _, t := range trainers {
		d.trainers[t.ID] = t
	}
	areas, err := facility.ListAreas(ctx, tx)
	for _, a := range areas {
		d.areas[a.ID] = a
	}
	return err
}

func (d *desk) readSkills(ctx context.Context, tx postgres.Tx) error {
	skills, err := training.ListSkills(ctx, tx)
	if err != nil {
		return err
	}
	words := map[ids.SkillID]string{}
	for _, s := range skills {
		words[s.ID] = s.Name
		if s.About != "" {
			words[s.ID] += ": " + s.About
		}
	}
	targets, err := training.ListTargets(ctx, tx)
	for _, t := range targets {
		d.skills[t.ProgramID] = append(d.skills[t.ProgramID], words[t.SkillID])
	}
	return err
}

// dayWords writes a day for people.
func dayWords(d calendar.Date) string { return d.Format("Monday, 2 January 2006") }

// whenWords writes a time at a site for people.
func whenWords(s handover.Slot, zone *time.Location) string {
	return fmt.Sprintf("%s, %s to %s", dayWords(calendar.DateIn(s.Begins, zone)), calendar.ClockIn(s.Begins, zone), calendar.ClockIn(s.Ends, zone))
}

// zoneWords names a zone as clocks there are called at an instant.
func zoneWords(at time.Time, zone *time.Location) string {
	short, _ := at.In(zone).Zone()
	if short == "" || strings.ContainsAny(short, "+-0123456789") {
		return "local time (" + zone.String() + ")"
	}
	return fmt.Sprintf("%s (%s)", short, zone)
}

// begin starts a letter to the owner of a request's dog.
func (d *desk) begin(kind mail.Kind, key string, version int, request ids.RequestID, site ids.SiteID) mail.Letter {
	c := d.cases[request]
	owner := d.owners[c.Dog.ID]
	return mail.Letter{Kind: kind, Key: key, Version: version, To: mail.Address{Name: owner.Name, Addr: owner.Email}, Zone: cmp.Or(owner.Zone, d.sites[site].Zone),
		Fields: map[string]string{"owner": owner.Name, "dog": c.Dog.Name, "site": d.sites[site].Name}, Lists: map[string][]string{}}
}

// visit writes a letter about an appointment. link is empty where there is none.
func (d *desk) visit(kind mail.Kind, a handover.Appointment, link string) mail.Letter {
	l := d.begin(kind, a.ID.String(), a.Version, a.RequestID, a.SiteID)
	s, zone := d.settings[a.SiteID], d.zones[a.SiteID]
	l.Fields["when"], l.Fields["zone"] = whenWords(a.Slot, zone), zoneWords(a.Begins, zone)
	if kind == mail.HandoverCancelled {
		return l
	}
	l.Fields["trainer"], l.Fields["gate"], l.Fields["address"], l.Fields["link"] = d.trainers[a.TrainerID].Name, a.Gate, s.Place, link
	l.Fields["place"] = d.placeWords(a.AreaID)
	l.Fields["minutes"] = strconv.Itoa(int(a.Ends.Sub(a.Begins).Minutes()))
	l.Fields["move"] = moveWords(link, s)
	l.Lists["bring"], l.Lists["leave"] = s.Bring, s.LeaveHome
	if s.Who != "" {
		l.Lists["who"] = []string{s.Who}
	}
	l.Lists["shown"] = d.skills[d.cases[a.RequestID].Program.ID]
	l.Expires = a.Ends
	return l
}

func moveWords(link string, s handover.Setting) string {
	call := "Please call us."
	if s.Phone != "" {
		call = "Please call us: " + s.Phone + "."
	}
	if link == "" {
		return call
	}
	return fmt.Sprintf("Choose another time on your page, until %d hours before. After that: %s", s.MoveHours, strings.ToLower(call[:1])+call[1:])
}

func (d *desk) placeWords(area ids.AreaID) string {
	a, ok := d.areas[area]
	if !ok {
		return ""
	}
	return fmt.Sprintf("%s (%s)", a.Code, a.Kind)
}

// event is the calendar entry of an appointment: one UID for all its changes, and a sequence that rises with them.
func (d *desk) event(a handover.Appointment, method mail.Method) *mail.Event {
	what := "Handover of "
	if a.Purpose == handover.PurposeLesson {
		what = "Lesson with "
	}
	site := d.sites[a.SiteID]
	place := strings.Join(slices.DeleteFunc([]string{site.Name, a.Gate, d.settings[a.SiteID].Place}, func(s string) bool { return s == "" }), ", ")
	return &mail.Event{UID: a.UID(), Sequence: a.Version, Method: method, Begins: a.Begins, Ends: a.Ends, Zone: site.Zone, Summary: what + d.cases[a.RequestID].Dog.Name,
		Place: place, Description: "With " + d.trainers[a.TrainerID].Name, Confirmed: a.State == handover.Confirmed}
}

// arrivalBring is what owners bring on the arrival day: common practice, no source.
func arrivalBring() []string {
	return []string{"the records of all vaccinations", "food for the whole stay, with how much and when", "medicine in its own box, with the veterinarian's instructions",
		"a flat collar with a tag, and a plain lead", "the veterinarian's name and telephone number"}
}

// stayKey names an arrival in letters: a stay that was given other days or another site is a new one for its owner, and one with another run is
// not.
func stayKey(s planner.Stay) string {
	return fmt.Sprintf("stay %s %s %s %s", s.RequestID, s.SiteID, s.Nights.From, s.Nights.To)
}

// enrolment writes that a stay is promised.
func (d *desk) enrolment(s planner.Stay) (mail.Letter, error) {
	l, err := d.arriving(mail.EnrolmentConfirmed, s)
	c := d.cases[s.RequestID]
	l.Fields["graduation"], l.Fields["program"], l.Fields["trainer"] = dayWords(s.Nights.To), c.Program.Name, d.trainers[s.TrainerID].Name
	return l, err
}

// arrival reminds of an arrival, with what is missing of the vaccinations that the site asks for.
func (d *desk) arrival(s planner.Stay) (mail.Letter, error) {
	l, err := d.arriving(mail.ArrivalReminder, s)
	if err != nil {
		return l, err
	}
	l.Lists["bring"] = arrivalBring()
	site := d.sites[s.SiteID]
	rules, err := enrollment.RulesFor(enrollment.SiteRules{ID: site.ID, Code: site.Code, RabiesWaitingDays: site.RabiesWaitingDays, RequiredVaccines: site.RequiredVaccines})
	if err != nil {
		return l, err
	}
	for _, f := range enrollment.CheckVaccines(d.cases[s.RequestID].Shots, rules, s.Nights.From, s.Nights.To) {
		l.Lists["vaccines"] = append(l.Lists["vaccines"], f.Text)
	}
	return l, nil
}

// arriving starts a letter about an arrival, which is not worth sending once the day has ended.
func (d *desk) arriving(kind mail.Kind, s planner.Stay) (mail.Letter, error) {
	l := d.begin(kind, stayKey(s), 1, s.RequestID, s.SiteID)
	l.Fields["arrival"], l.Fields["address"] = dayWords(s.Nights.From), d.settings[s.SiteID].Place
	_, end, err := calendar.DayBounds(s.Nights.From, d.zones[s.SiteID])
	l.Expires = end
	return l, err
}
