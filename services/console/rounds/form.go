package rounds

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"
	"github.com/longlead/longlead/services/ids"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// form is a session as it is written down; the phone keeps it in the same words.
type form struct {
	// Key is the ID of the session, made by who writes it down.
	Key string `json:"key"`
	// Replaces is the session that it corrects.
	Replaces string `json:"replaces"`
	Line     string `json:"line"`
	Dog      string `json:"dog"`
	DogName  string `json:"dogName"`
	Skill    string `json:"skill"`
	Trainer  string `json:"trainer"`
	// Day and At are when it was by the site's clocks; TrainedAt, by the device's, goes before them.
	Day       string `json:"day"`
	At        string `json:"at"`
	Zone      string `json:"zone"`
	TrainedAt string `json:"trainedAt"`
	Trials    string `json:"trials"`
	Successes string `json:"successes"`
	Hold      string `json:"hold"`
	// Metres is the distance, with a point.
	Metres      string `json:"metres"`
	Distraction string `json:"distraction"`
	// Settled is empty where it was not noted.
	Settled string `json:"settled"`
	Note    string `json:"note"`
	// Target is what the program asks for.
	Target string `json:"target"`
	// Open says that the form was asked for, and stands alone on the phone.
	Open bool `json:"-"`
}

// formOf is what the form of a line begins with. What was not measured begins with what claims least: no hold, at the handler's side, a quiet place.
func (d *dayView) formOf(l *line) *form {
	return &form{Line: l.Key, Dog: l.GetDogCode(), DogName: d.dogName(l.GetDogCode()), Skill: l.GetSkillCode(), Trainer: d.Trainer, Day: d.Day, At: l.GetEnds(), Zone: d.Zone,
		Hold: "0", Metres: "0", Distraction: "0", Target: l.GetTarget()}
}

func (d *dayView) formOfLogged(s *logged) *form {
	f := &form{Replaces: s.GetId(), Dog: s.GetDogCode(), DogName: s.DogName, Skill: s.GetSkillCode(), Trainer: s.GetTrainerCode(), Day: d.Day, At: s.At, Zone: d.Zone,
		TrainedAt: s.GetTrainedAt().AsTime().Format(time.RFC3339Nano), Trials: fmt.Sprint(s.GetTrials()), Successes: fmt.Sprint(s.GetSuccesses()), Hold: fmt.Sprint(s.GetHoldSeconds()),
		Metres: metres(s.GetDistanceCm()), Distraction: fmt.Sprint(s.GetDistraction()), Note: s.GetNote()}
	if s.Session.Settled != nil {
		f.Settled = fmt.Sprint(s.GetSettled())
	}
	return f
}

// blank is a form for any dog.
func (d *dayView) blank() *form {
	return &form{Trainer: d.Trainer, Day: d.Day, At: calendar.ClockIn(time.UnixMilli(d.NowMS), d.zone).String(), Zone: d.Zone, Hold: "0", Metres: "0", Distraction: "0"}
}

// formFor is the form that the address asks for: of a line, of a correction, or an empty one for another dog.
func (d *dayView) formFor(v *frame.Visit) *form {
	f := d.blank()
	if key := v.Query("log"); key != "" {
		f.Open = true
		for _, l := range d.Lines {
			if l.Key == key && l.LogPath != "" {
				f = d.formOf(l)
				if now := v.Now().UnixMilli(); d.Today && now < l.ToMS {
					f.At = calendar.ClockIn(v.Now(), d.zone).String()
				}
				f.Open = true
			}
		}
	}
	if id := v.Query("correct"); id != "" {
		for _, s := range d.Logged {
			if s.GetId() == id {
				f = d.formOfLogged(s)
				f.Open = true
			}
		}
	}
	f.Trainer = d.loggedAs(v)
	f.Key = ids.NewMint()().String()
	return f
}

// readForm reads what was sent.
func (d *dayView) readForm(v *frame.Visit) *form {
	return &form{Key: v.Form("key"), Replaces: v.Form("replaces"), Line: v.Form("line"), Dog: v.Form("dog"), DogName: d.dogName(v.Form("dog")), Skill: v.Form("skill"), Trainer: d.loggedAs(v), Day: d.Day,
		At: v.Form("at"), Zone: d.Zone, Trials: v.Form("trials"), Successes: v.Form("successes"), Hold: v.Form("hold"), Metres: v.Form("metres"),
		Distraction: v.Form("distraction"), Settled: v.Form("settled"), Note: v.Form("note"), Open: true}
}

// entry is the form as the call takes it. What is no number is told by the name of its field, as the call would.
func (f *form) entry() (*trainingv1.Entry, error) {
	var faults []apperr.Field
	number := func(path, text string) int32 {
		if text == "" {
			return 0
		}
		n, err := strconv.ParseInt(text, 10, 32)
		if err != nil {
			faults = append(faults, apperr.Field{Path: path, Rule: "is no whole number", Remedy: "write digits only, such as 8"})
		}
		return int32(n)
	}
	e := &trainingv1.Entry{Key: f.Key, DogCode: f.Dog, TrainerCode: f.Trainer, SkillCode: f.Skill, Trials: number("trials", f.Trials), Successes: number("successes", f.Successes),
		HoldSeconds: number("hold_seconds", f.Hold), Distraction: number("distraction", f.Distraction), Note: f.Note}
	if f.Settled != "" {
		settled := number("settled", f.Settled)
		e.Settled = &settled
	}
	cm, ok := centimetres(f.Metres)
	if !ok {
		faults = append(faults, apperr.Field{Path: "distance_cm", Rule: "is no distance", Remedy: "write metres, such as 1.5"})
	}
	e.DistanceCm = cm
	if e.GetTrials() == 0 && f.Replaces == "" {
		faults = append(faults, apperr.Field{Path: "trials", Rule: "must be at least 1", Remedy: "count the trials of this session"})
	}
	if at, err := f.instant(); err != nil {
		faults = append(faults, apperr.Field{Path: "trained_at", Rule: err.Error(), Remedy: "write a time of the site's clocks, such as 14:05"})
	} else {
		e.TrainedAt = timestamppb.New(at)
	}
	if len(faults) > 0 {
		return nil, apperr.Invalidf("SESSION_INVALID", "The session has fields that cannot be accepted.").With(faults...)
	}
	return e, nil
}

// instant is when the session was: by the clock of the device, or by the site's clocks where a person wrote the time.
func (f *form) instant() (time.Time, error) {
	if f.TrainedAt != "" {
		return time.Parse(time.RFC3339Nano, f.TrainedAt)
	}
	day, err := calendar.ParseDate(f.Day)
	if err != nil {
		return time.Time{}, err
	}
	at, err := calendar.ParseClock(f.At)
	if err != nil {
		return time.Time{}, err
	}
	zone, err := calendar.LoadZone(f.Zone)
	if err != nil {
		return time.Time{}, err
	}
	return calendar.At(day, at, zone)
}

// centimetres reads metres with at most two decimals.
func centimetres(text string) (int32, bool) {
	whole, part, _ := strings.Cut(strings.ReplaceAll(text, ",", "."), ".")
	if text == "" {
		return 0, true
	}
	if whole == "" {
		whole = "0"
	}
	if len(part) > 2 || len(whole) > 5 {
		return 0, false
	}
	m, err := strconv.ParseUint(whole, 10, 31)
	if err != nil {
		return 0, false
	}
	cm, err := strconv.ParseUint((part + "00")[:2], 10, 31)
	return int32(m*100 + cm), err == nil
}

// metres writes centimetres as metres: "1.5".
func metres(cm int32) string {
	return strconv.FormatFloat(float64(cm)/100, 'f', -1, 64)
}

// Level is a choice of the form.
type Level struct{ Value, Name string }

// Distractions are the levels in words, as package training has them.
func (*form) Distractions() []Level {
	return []Level{{"0", "Quiet place"}, {"1", "Noise far off"}, {"2", "Dogs in sight"}, {"3", "Busy place"}}
}

// Settledness is how settled a dog was, in words.
func (*form) Settledness() []Level {
	return []Level{{"", "Not noted"}, {"0", "Not"}, {"1", "A little"}, {"2", "Mostly"}, {"3", "Calm"}}
}
