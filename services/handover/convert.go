package handover

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/postgres"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
)

// times turns times as people ask for them into slots.
type times struct {
	site    SiteRef
	zone    *time.Location
	names   names
	setting Setting
	// usual is what stands for what is left empty, and length for the minutes.
	usual  Slot
	length time.Duration
	// least and most are limits of the length in minutes.
	least, most int
}

// timesFor knows what is usual for an appointment of a stay.
func (s *Server) timesFor(ctx context.Context, db postgres.DB, o one, purpose Purpose) (*times, error) {
	t := &times{site: o.names.sites[o.stay.SiteID], names: o.names, least: 60, most: 120}
	if o.there && o.a.State.Open() && purpose == o.a.Purpose {
		t.site = o.names.sites[o.a.SiteID]
	}
	var err error
	if t.zone, err = calendar.LoadZone(t.site.Zone); err != nil {
		return nil, fmt.Errorf("zone of site %s: %w", t.site.Code, err)
	}
	if t.setting, err = ReadSetting(ctx, db, t.site.ID); err != nil {
		return nil, err
	}
	minutes := t.setting.Minutes
	if purpose == PurposeLesson {
		t.least, minutes = 15, t.setting.LessonMinutes
	}
	t.usual = Slot{TrainerID: o.stay.TrainerID, AreaID: t.setting.AreaID, Gate: t.setting.Gates[0]}
	t.length = time.Duration(minutes) * time.Minute
	return t, nil
}

func (t *times) slots(field string, asked []*handoverv1.Time) ([]Slot, error) {
	out := make([]Slot, 0, len(asked))
	for i, one := range asked {
		slot, err := t.slot(fmt.Sprintf("%s[%d]", field, i), one)
		if err != nil {
			return nil, err
		}
		out = append(out, slot)
	}
	return out, nil
}

func (t *times) slot(field string, asked *handoverv1.Time) (Slot, error) {
	out := t.usual
	begins, err := t.instant(field+".starts", asked.GetStarts())
	if err != nil {
		return out, err
	}
	length := t.length
	if m := int(asked.GetMinutes()); m != 0 {
		if m < t.least || m > t.most {
			return out, apperr.InvalidField(field+".minutes", fmt.Sprintf("must be %d to %d", t.least, t.most), "leave it out for what is usual at the site")
		}
		length = time.Duration(m) * time.Minute
	}
	out.Begins, out.Ends = begins, begins.Add(length)
	if asked.GetTrainerCode() != "" {
		trainer, err := t.names.trainer(asked.GetTrainerCode())
		if err != nil {
			return out, err
		}
		out.TrainerID = trainer.ID
	}
	if asked.GetAreaCode() != "" {
		area, err := t.names.area(t.site, asked.GetAreaCode())
		if err != nil {
			return out, err
		}
		out.AreaID = area.ID
	}
	if asked.GetGate() != "" {
		if !slices.Contains(t.setting.Gates, asked.GetGate()) {
			return out, apperr.InvalidField(field+".gate", "is no gate of "+t.site.Code, "use one of: "+strings.Join(t.setting.Gates, ", "))
		}
		out.Gate = asked.GetGate()
	}
	return out, nil
}

// instant reads a time as clocks at the site show it.
func (t *times) instant(field, text string) (time.Time, error) {
	const remedy = "write it as 2027-03-20 10:00, as clocks at the site show it"
	day, clock, ok := strings.Cut(strings.TrimSpace(strings.Replace(text, "T", " ", 1)), " ")
	if !ok {
		return time.Time{}, apperr.InvalidField(field, "is no date and time of day", remedy)
	}
	d, err := calendar.ParseDate(day)
	if err != nil {
		return time.Time{}, apperr.InvalidField(field, err.Error(), remedy)
	}
	c, err := calendar.ParseClock(strings.TrimSpace(clock))
	if err != nil {
		return time.Time{}, apperr.InvalidField(field, err.Error(), remedy)
	}
	at, err := calendar.At(d, c, t.zone)
	if err != nil {
		return time.Time{}, apperr.InvalidField(field, err.Error(), remedy)
	}
	return at, nil
}

// localTime writes an instant as clocks at a site show it.
func localTime(at time.Time, site SiteRef) string {
	zone, err := calendar.LoadZone(site.Zone)
	if err != nil {
		zone = time.UTC // a site that lost its zone is told of where its zone is read; a list must not fail for it
	}
	return at.In(zone).Format("2006-01-02 15:04")
}

func slotToProto(s Slot, n names, site SiteRef) *handoverv1.Slot {
	return &handoverv1.Slot{Starts: localTime(s.Begins, site), Ends: localTime(s.Ends, site), BeginsAt: timestamppb.New(s.Begins), EndsAt: timestamppb.New(s.Ends),
		TrainerCode: n.trainers[s.TrainerID].Code, AreaCode: n.areas[s.AreaID].Code, Gate: s.Gate}
}

func appointmentToProto(a Appointment, n names) *handoverv1.Appointment {
	site, stay := n.sites[a.SiteID], n.stays[a.RequestID]
	return &handoverv1.Appointment{Id: a.ID.String(), Purpose: string(a.Purpose), RequestCode: stay.RequestCode, DogCode: stay.DogCode, DogName: stay.DogName,
		SiteCode: site.Code, Zone: site.Zone, Slot: slotToProto(a.Slot, n, site), State: string(a.State), Version: int32(a.Version), Wish: a.Wish,
		LateMinutes: int32(a.LateMinutes), ChangedAt: timestamppb.New(a.ChangedAt), OwnerName: stay.OwnerName, OwnerPhone: stay.OwnerPhone,
		TrainerName: n.trainers[a.TrainerID].Name}
}

func appointmentsToProto(all []Appointment, n names) []*handoverv1.Appointment {
	out := make([]*handoverv1.Appointment, len(all))
	for i, a := range all {
		out[i] = appointmentToProto(a, n)
	}
	return out
}

func changesToProto(all []Entry, n names) []*handoverv1.Change {
	out := make([]*handoverv1.Change, len(all))
	for i, e := range all {
		out[i] = &handoverv1.Change{AppointmentId: e.AppointmentID.String(), Act: string(e.Act), ChangedAt: timestamppb.New(e.ChangedAt), ChangedBy: e.ChangedBy, Why: e.Why,
			State: string(e.After.State), Version: int32(e.After.Version), Starts: localTime(e.After.Begins, n.sites[e.After.SiteID])}
	}
	return out
}

func linkToProto(l Link) *handoverv1.Link {
	out := &handoverv1.Link{Id: l.ID.String(), MadeAt: timestamppb.New(l.MadeAt), MadeBy: l.MadeBy, ExpiresAt: timestamppb.New(l.ExpiresAt)}
	if l.ShutAt != nil {
		out.ShutAt, out.ShutBy = timestamppb.New(*l.ShutAt), *l.ShutBy
	}
	return out
}

func linksToProto(all []Link) []*handoverv1.Link {
	out := make([]*handoverv1.Link, len(all))
	for i, l := range all {
		out[i] = linkToProto(l)
	}
	return out
}
