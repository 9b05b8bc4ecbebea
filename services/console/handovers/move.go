package handovers

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/frame"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

// moving is another time for an appointment, as it was written.
type moving struct {
	Starts, Minutes, Trainer, Area, Gate, Reason string
	NotReady                                     bool
	Others                                       []string
}

type moveView struct {
	row
	To moving
	// Differs are what changes, before and after; empty until a time is chosen.
	Differs  []differs
	Trainers []trainer
	// Same are the other appointments at the site on the day it goes to.
	Same  []row
	ToDay string
	// Cautions are what nobody checks when it is done by hand: a day on which the trainer is not at work, an hour at which nobody would expect it.
	Cautions []caution
	Offers   int
	Trouble  *frame.Trouble
}

// caution is a first word and a sentence.
type caution struct{ Head, Text string }

type differs struct{ What, Before, After string }

type trainer struct{ Code, Name string }

// previewMove shows what moving changes, before it is done.
func previewMove(v *frame.Visit) error {
	q := v.Request.URL.Query()
	return showMove(v, moving{Starts: v.Query("starts"), Minutes: v.Query("minutes"), Trainer: v.Query("trainer"), Area: v.Query("area"), Gate: v.Query("gate"), Reason: v.Query("reason"),
		NotReady: v.Query("not_ready") == "yes", Others: filled(q["other"])}, nil)
}

func filled(texts []string) (out []string) {
	for _, t := range texts {
		if t = strings.TrimSpace(t); t != "" {
			out = append(out, t)
		}
	}
	return out
}

func showMove(v *frame.Visit, to moving, trouble *frame.Trouble) error {
	got, err := calls(v).ReadHandover(v.Context(), &handoverv1.ReadHandoverRequest{Which: v.Path("id")})
	if err != nil {
		return err
	}
	view := moveView{row: rowOf(got.GetAppointment()), To: to, Offers: len(got.GetOffers()), Trouble: trouble}
	staff, err := rosterv1.NewRosterServiceClient(v.Conn).ListTrainers(v.Context(), &rosterv1.ListTrainersRequest{})
	if err != nil {
		return err
	}
	for _, t := range staff.GetTrainers() {
		view.Trainers = append(view.Trainers, trainer{t.GetCode(), t.GetName()})
	}
	if to.Starts != "" {
		if err := view.compare(v); err != nil {
			return err
		}
	}
	status := http.StatusOK
	if view.Trouble != nil {
		status = view.Trouble.Status
	}
	return v.ShowAs(status, movePage, view)
}

// compare sets what changes, and what else is on at the site on that day.
func (view *moveView) compare(v *frame.Visit) error {
	slot, to := view.GetSlot(), view.To
	starts := strings.Replace(to.Starts, "T", " ", 1)
	view.ToDay = dayOf(starts)
	view.Differs = append(view.Differs, differs{"Begins", view.Day + " " + clock(slot.GetStarts()), starts})
	for _, d := range []differs{{"Minutes", strconv.Itoa(int(slot.GetEndsAt().AsTime().Sub(slot.GetBeginsAt().AsTime()).Minutes())), to.Minutes}, {"Trainer", slot.GetTrainerCode(), to.Trainer},
		{"Area", slot.GetAreaCode(), to.Area}, {"Gate", slot.GetGate(), to.Gate}} {
		if d.After != "" && d.After != d.Before {
			view.Differs = append(view.Differs, d)
		}
	}
	got, err := calls(v).ListHandovers(v.Context(), &handoverv1.ListHandoversRequest{SiteCode: view.GetSiteCode(), FirstDay: view.ToDay, LastDay: view.ToDay})
	if t, ok := frame.Mendable(err); ok && view.Trouble == nil {
		view.Trouble, view.Differs = t, nil
		return nil
	}
	if err != nil && view.Trouble == nil {
		return err
	}
	for _, a := range got.GetAppointments() {
		if a.GetId() != view.GetId() {
			view.Same = append(view.Same, rowOf(a))
		}
	}
	if err != nil {
		return nil // the trouble is shown already
	}
	return view.warn(v, cmp.Or(to.Trainer, slot.GetTrainerCode()), clock(starts))
}

// Hours outside of which an appointment is probably written wrongly.
const earliest, latest = "07:00", "20:00"

// warn looks at what may be done by hand all the same.
func (view *moveView) warn(v *frame.Visit, trainer, at string) error {
	if at < earliest || at >= latest {
		view.Cautions = append(view.Cautions, caution{"Look at the hour.", "It would begin at " + at + "."})
	}
	days, err := rosterv1.NewRosterServiceClient(v.Conn).ListTrainerDays(v.Context(), &rosterv1.ListTrainerDaysRequest{Month: view.ToDay[:7]})
	if err != nil {
		return err
	}
	for _, d := range days.GetDays() {
		if d.GetDay() == view.ToDay && d.GetTrainerCode() == trainer && d.GetSiteCode() == view.GetSiteCode() {
			return nil
		}
	}
	view.Cautions = append(view.Cautions, caution{"Not at work.", fmt.Sprintf("%s does not work at %s on that day.", trainer, view.GetSiteCode())})
	return nil
}

func move(v *frame.Visit) error {
	to := moving{Starts: v.Form("starts"), Minutes: v.Form("minutes"), Trainer: v.Form("trainer"), Area: v.Form("area"), Gate: v.Form("gate"), Reason: v.Form("reason"),
		NotReady: v.Form("not_ready") == "yes"}
	to.Others = filled(v.Request.PostForm["other"])
	req := &handoverv1.MoveHandoverRequest{Which: v.Path("id"), Time: &handoverv1.Time{Starts: to.Starts, TrainerCode: to.Trainer, AreaCode: to.Area, Gate: to.Gate}, NotReady: to.NotReady, Reason: to.Reason}
	var err error
	if to.Minutes != "" {
		n, bad := strconv.ParseInt(to.Minutes, 10, 32)
		if bad != nil {
			err = apperr.Invalidf("MINUTES", "How long is it? Write a number of minutes.")
		}
		req.Time.Minutes = int32(n)
	}
	for _, o := range to.Others {
		req.Others = append(req.Others, &handoverv1.Time{Starts: o})
	}
	if err == nil {
		_, err = calls(v).MoveHandover(v.Context(), req)
	}
	if t, ok := frame.Mendable(err); ok {
		return showMove(v, to, t)
	}
	if err != nil {
		return err
	}
	return v.Done("/appointment/"+url.PathEscape(v.Path("id")), "Moved. The owner is written to, and has to confirm the new time.")
}
