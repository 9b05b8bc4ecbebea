package daysheet

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"
	"github.com/google/uuid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/training"
)

// A feed covers the days from feedBack before today to feedAhead after it, those included.
const feedBack, feedAhead = 1, 14

// feedRefresh is how often calendar programs are asked to look again. Many keep to times of their own.
const feedRefresh = "PT15M"

// event is what a feed says of one thing that a trainer does.
type event struct {
	dayplan.Held
	summary, location string
	// uid stays the same when the day is planned anew, so that a calendar program moves the event instead of making a second one.
	uid string
}

// readFeed makes the calendar of a token. It notes the day of reading.
func (s *Server) readFeed(ctx context.Context, token string) ([]byte, error) {
	var (
		trainer roster.Trainer
		events  []event
		feed    Feed
		today   calendar.Date
	)
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if feed, err = openFeed(ctx, tx, token); err != nil {
			return err
		}
		sites, err := facility.ListSites(ctx, tx)
		if err != nil {
			return err
		}
		if trainer, err = trainerOf(ctx, tx, feed.TrainerID); err != nil {
			return err
		}
		if today, err = todayAt(sites, trainer.HomeSiteID, s.now()); err != nil {
			return err
		}
		held, err := dayplan.ListHeld(ctx, tx, trainer.ID, calendar.Span{From: today.AddDays(-feedBack), To: today.AddDays(feedAhead + 1)})
		if err != nil {
			return err
		}
		events, err = describe(ctx, tx, trainer.ID, sites, held)
		return err
	})
	if err != nil {
		return nil, err
	}
	if feed.LastRead != today {
		if err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error { return noteRead(ctx, tx, feed.ID, today) }); err != nil {
			return nil, err
		}
	}
	return writeFeed(trainer.Code, events)
}

func trainerOf(ctx context.Context, db postgres.DB, id ids.TrainerID) (roster.Trainer, error) {
	trainers, err := roster.ListTrainers(ctx, db)
	for _, t := range trainers {
		if t.ID == id {
			return t, err
		}
	}
	if err == nil {
		err = errNoFeed
	}
	return roster.Trainer{}, err
}

// todayAt is the day at a site.
func todayAt(sites []facility.Site, id ids.SiteID, now time.Time) (calendar.Date, error) {
	for _, s := range sites {
		if s.ID == id {
			zone, err := calendar.LoadZone(s.Zone)
			if err != nil {
				return calendar.Date{}, err
			}
			return calendar.DateIn(now, zone), nil
		}
	}
	return calendar.Date{}, fmt.Errorf("find the site %s of a trainer", id)
}

// describe puts into words what is held: the dog's name and code, the skill, the area and the site, and nothing else of anybody.
func describe(ctx context.Context, db postgres.DB, trainer ids.TrainerID, sites []facility.Site, held []dayplan.Held) ([]event, error) {
	var wanted []ids.DogID
	for _, h := range held {
		if !h.DogID.IsZero() {
			wanted = append(wanted, h.DogID)
		}
	}
	dogs, err := enrollment.ListDogsByID(ctx, db, wanted)
	if err != nil {
		return nil, err
	}
	areas, err := facility.ListAreas(ctx, db)
	if err != nil {
		return nil, err
	}
	skills, err := training.ListSkills(ctx, db)
	if err != nil {
		return nil, err
	}
	names := map[uuid.UUID]string{}
	for _, a := range areas {
		names[a.ID.UUID()] = a.Code
	}
	for _, k := range skills {
		names[k.ID.UUID()] = k.Name
	}
	for _, x := range sites {
		names[x.ID.UUID()] = x.Name
	}
	events := make([]event, len(held))
	nth := map[string]int{}
	for i, h := range held {
		dog := fmt.Sprintf("%s (%s)", dogs[h.DogID].Name, dogs[h.DogID].Code)
		e := event{Held: h, location: names[h.SiteID.UUID()]}
		switch h.Kind {
		case dayplan.KindSession:
			e.summary, e.location = dog, names[h.AreaID.UUID()]+", "+e.location
			if skill := names[h.SkillID.UUID()]; skill != "" {
				e.summary += ": " + skill
			}
			if h.Second {
				e.summary += " (second person)"
			}
			e.uid = uidOf(h.DogID.UUID(), h, h.Session)
		case dayplan.KindIntake:
			e.summary, e.uid = "Arrival of "+dog, uidOf(h.DogID.UUID(), h, 0)
		case dayplan.KindHandover:
			e.summary, e.uid = "Handover of "+dog, uidOf(h.DogID.UUID(), h, 0)
		default:
			key := h.Day.String() + h.Kind
			nth[key]++
			e.summary, e.uid = pauseWords[h.Kind], uidOf(trainer.UUID(), h, nth[key])
		}
		events[i] = e
	}
	return events, nil
}

var pauseWords = map[string]string{dayplan.KindMeal: "Meal", dayplan.KindRest: "Short break"}

// uidOf names the nth thing of a kind that a dog or trainer has on a day. It is a UUID of version 5, as RFC 7986 section 5.3 asks for a
// UUID, and gives no identifier of the database away.
func uidOf(who uuid.UUID, h dayplan.Held, nth int) string {
	return uuid.NewSHA1(who, fmt.Appendf(nil, "longlead day sheet/%s/%s/%d", h.Day, h.Kind, nth)).String()
}

// writeFeed writes events as a calendar of RFC 5545, with times in UTC, so that it needs no zones.
func writeFeed(trainer string, events []event) ([]byte, error) {
	cal := ics.NewCalendar()
	cal.SetProductId("-//Longlead//Day sheets//EN")
	cal.SetMethod(ics.MethodPublish)
	cal.SetName("Day sheets of " + trainer) // sets X-WR-CALNAME as well, which more programs know
	cal.SetRefreshInterval(feedRefresh)     // the library names the type of the value itself
	cal.SetXPublishedTTL(feedRefresh)
	for _, e := range events {
		v := cal.AddEvent(e.uid)
		v.SetDtStampTime(e.MadeAt)
		v.SetModifiedAt(e.MadeAt)
		v.SetSequence(e.Number - 1)
		v.SetStartAt(e.From)
		v.SetEndAt(e.To)
		v.SetSummary(oneLine(e.summary))
		v.SetLocation(oneLine(e.location))
		v.SetStatus(ics.ObjectStatusConfirmed)
		v.SetClass(ics.ClassificationPrivate)
	}
	var out bytes.Buffer
	if err := cal.SerializeTo(&out, ics.WithNewLineWindows); err != nil {
		return nil, fmt.Errorf("write a calendar feed: %w", err)
	}
	return out.Bytes(), nil
}

// oneLine takes line breaks out, which the library does not all escape.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }
