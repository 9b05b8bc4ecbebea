package handover

import (
	"fmt"
	"strings"
	"time"

	"github.com/longlead/longlead/services/calendar"
)

// view is all that an owner's page is made from.
type view struct {
	stay    StayRef
	site    SiteRef
	zone    *time.Location
	setting Setting
	names   names
	skills  []SkillRef
	// all are the appointments to show, the handover first, with what can be chosen.
	all    []Appointment
	offers map[string][]Offer // by ID of the appointment
	now    time.Time
}

// page puts a view into words. token is that of the link; it goes into forms and addresses alone.
func (v *view) page(token string) page {
	p := page{Title: v.stay.DogName + " goes home", Site: v.site.Name, Phone: v.setting.Phone, Dial: dialOf(v.setting.Phone)}
	for _, a := range v.all {
		p.Cards = append(p.Cards, v.card(a, token))
	}
	if len(v.all) == 0 || v.all[0].Purpose == PurposeLesson || v.all[0].State == Held {
		p.Title = v.stay.DogName + " and you"
	}
	if len(v.all) > 0 && v.all[0].Purpose == PurposeHandover && v.all[0].State.Open() {
		p.Lists = v.lists()
	}
	return p
}

// lists say what the handover asks of the owner.
func (v *view) lists() []pageList {
	lists := []pageList{{Heading: "Who must come", Text: v.setting.Who}}
	if len(v.setting.Bring) > 0 {
		lists = append(lists, pageList{Heading: "What to bring", Items: v.setting.Bring})
	}
	if len(v.setting.LeaveHome) > 0 {
		lists = append(lists, pageList{Heading: "What to leave at home", Items: v.setting.LeaveHome})
	}
	shown := pageList{Heading: "What you will see and try yourself", Text: fmt.Sprintf("The trainer shows you what %s has learned, then you do it, with the trainer beside you.", v.stay.DogName)}
	for _, k := range v.skills {
		line := k.Name
		if k.About != "" {
			line += ": " + k.About
		}
		shown.Items = append(shown.Items, line)
	}
	// Common practice, no source.
	return append(lists, shown, pageList{Heading: "When you meet", Text: fmt.Sprintf("%s will be excited. Stand still and let the trainer bring %s to you on the lead; "+
		"children stay beside an adult. If somebody who comes is afraid of dogs or is easily knocked over, tell the school before.", v.stay.DogName, v.stay.DogName)})
}

var cardStates = map[State]string{Offered: "Please answer", Confirmed: "Confirmed", Asked: "We look for another time", Late: "We wait for you", Missed: "We missed you",
	Held: "Done", Cancelled: "Cancelled"}

// card puts one appointment into words.
func (v *view) card(a Appointment, token string) pageCard {
	day, hours := v.dayWords(a.Begins), v.hourWords(a.Slot)
	c := pageCard{ID: a.ID.String(), Revision: a.Revision, Form: formToken(token, a), State: cardStates[a.State], Begins: a.Begins.Format(time.RFC3339), Day: day, Hours: hours,
		Zone: v.zoneWords(a), Where: v.whereWords(a.Slot), Trainer: v.names.trainers[a.TrainerID].Name, Wish: a.Wish, Missed: a.State == Missed, Mark: "open"}
	c.Heading = "Handover of " + v.stay.DogName
	if a.Purpose == PurposeLesson {
		c.Heading = "Lesson with " + v.stay.DogName
	}
	c.Label = c.Heading + ", " + day
	switch a.State {
	case Offered:
		c.Mark = "asked" // a proposal, which the owner is asked to agree to
	case Confirmed, Held:
		c.Mark = "agreed"
	case Missed:
		c.Mark = "missed"
	case Cancelled:
		c.Mark = "ended"
	}
	if !a.State.Open() {
		return c
	}
	toCome := a.State.Live() && v.now.Before(a.Begins)
	if toCome {
		c.Calendar = LinkPath(token) + "/" + a.ID.String() + ".ics"
		c.Confirm = allows(a.State, ActConfirmed)
		c.Ask = allows(a.State, ActAsked)
	}
	mayMove := toCome && v.now.Before(v.setting.lastMove(a))
	if allows(a.State, ActChosen) && (mayMove || a.State == Missed) {
		for _, o := range v.offers[c.ID] {
			c.Offers = append(c.Offers, v.offer(a, o))
		}
	}
	c.Moving = v.movingWords(a, mayMove, len(c.Offers))
	return c
}

// offer names what differs from the appointment beside the time.
func (v *view) offer(a Appointment, o Offer) pageOffer {
	var extra []string
	if o.TrainerID != a.TrainerID {
		extra = append(extra, "with "+v.names.trainers[o.TrainerID].Name)
	}
	if o.Gate != a.Gate {
		extra = append(extra, "at the "+o.Gate)
	}
	return pageOffer{ID: o.ID.String(), Day: v.dayWords(o.Begins), Hours: v.hourWords(o.Slot), Extra: strings.Join(extra, ", ")}
}

// movingWords say how the appointment can be moved.
func (v *view) movingWords(a Appointment, mayMove bool, offers int) string {
	call := "please call the school"
	if v.setting.Phone != "" {
		call = "please call " + v.setting.Phone
	}
	switch last := v.setting.lastMove(a); {
	case a.State == Asked && mayMove:
		return fmt.Sprintf("The school calls or writes to you. This time stays yours until there is another one. In a hurry, %s.", call)
	case a.State == Missed && offers > 0:
		return fmt.Sprintf("%s stays with us for the night. Choose one of these times, or %s.", v.stay.DogName, call)
	case a.State == Missed:
		return fmt.Sprintf("%s stays with us for the night. To find a new time, %s.", v.stay.DogName, call)
	case !v.now.Before(a.Begins):
		return "To change anything now, " + call + "."
	case mayMove && offers > 0:
		return fmt.Sprintf("To move it: choose another time above until %s, %s. After that, %s.", v.dayWords(last), v.clock(last), call)
	case mayMove:
		return fmt.Sprintf("To move it: ask for another time above, or %s.", call)
	}
	return fmt.Sprintf("It is too close to be moved here. If you cannot come, %s.", call)
}

func (v *view) dayWords(at time.Time) string { return at.In(v.zone).Format("Monday, 2 January 2006") }

func (v *view) clock(at time.Time) string { return calendar.ClockIn(at, v.zone).String() }

func (v *view) hourWords(s Slot) string { return v.clock(s.Begins) + " to " + v.clock(s.Ends) }

// zoneWords name the zone and its distance from UTC at the time of the appointment.
func (v *view) zoneWords(a Appointment) string {
	local := a.Begins.In(v.zone)
	name, _ := local.Zone()
	if name == "" || strings.ContainsAny(name[:1], "+-0123456789") {
		return fmt.Sprintf("Time at %s (%s, UTC%s)", v.site.Name, v.site.Zone, local.Format("-07:00"))
	}
	return fmt.Sprintf("Time at %s: %s (%s, UTC%s)", v.site.Name, name, v.site.Zone, local.Format("-07:00"))
}

func (v *view) whereWords(s Slot) string {
	words := v.site.Name
	if v.setting.Place != "" {
		words += ", " + v.setting.Place
	}
	return words + "; arrive at the " + s.Gate
}
