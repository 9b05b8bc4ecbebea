// Package rounds is a trainer's own day, for a phone held in one hand outdoors: what to know before a dog is touched, what is now and next, and
// the session that has just been held.
//
//	rounds.go  the addresses, and who is sent where
//	day.go     the day as it is shown
//	form.go    one session as a form says it
//	log.go     what was logged arrives: a form, or what a phone has kept without a connection (frame/static/rounds.js, worker.js)
//	sheet.go   the sheet to print
//
// A session has its ID from the phone, so it may be sent as often as it likes and arrives once. The phone keeps it until the server has said what
// came of it, for whoever was signed in when it was made and for nobody else.
package rounds

import (
	"embed"
	"net/url"
	"slices"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

//go:embed templates/*.html
var files embed.FS

//go:embed worker.js
var worker []byte

var (
	dayPage    = frame.Parse(files, "templates/day.html")
	choicePage = frame.Parse(files, "templates/choice.html")
)

const (
	mayRead = accessv1.Permission_PERMISSION_READ_PLANS
	mayLog  = accessv1.Permission_PERMISSION_LOG_SESSIONS
)

// Pages are the addresses of trainers' days.
func Pages() []frame.Page {
	return []frame.Page{
		{Pattern: "GET /rounds", Needs: mayRead, Serve: choose},
		{Pattern: "GET /rounds/{trainer}", Needs: mayRead, Serve: today},
		{Pattern: "GET /rounds/{trainer}/{day}", Needs: mayRead, Serve: showDay},
		{Pattern: "POST /rounds/{trainer}/{day}", Needs: mayLog, Serve: logForm},
		{Pattern: "GET /rounds/{trainer}/{day}/sheet", Needs: mayRead, Serve: showSheet},
		{Pattern: "GET /rounds-token", Needs: mayLog, Serve: tellToken},
		{Pattern: "POST /rounds-queue", Needs: mayLog, Serve: takeQueue},
		{Pattern: "GET /rounds-worker.js", Open: true, Serve: serveWorker},
	}
}

// Section is the entry of the bar, for those who work with dogs or look after who does.
func Section() frame.Section {
	return frame.Section{Name: "My dogs", Path: "/rounds", Needs: mayRead, Roles: []string{"trainer", "site-lead", "manager"}}
}

func pathOf(trainer, day string) string {
	return "/rounds/" + url.PathEscape(trainer) + "/" + url.PathEscape(day)
}

// choiceView names the trainers, for who is none.
type choiceView struct {
	Trainers []*rosterv1.Trainer
	Site     string
}

// Path is where the day of a trainer is.
func (choiceView) Path(t *rosterv1.Trainer) string { return "/rounds/" + url.PathEscape(t.GetCode()) }

// choose sends a trainer to their own day, and asks others whose it is.
func choose(v *frame.Visit) error {
	if v.Person.TrainerCode != "" {
		return v.To("/rounds/" + url.PathEscape(v.Person.TrainerCode))
	}
	got, err := rosterv1.NewRosterServiceClient(v.Conn).ListTrainers(v.Context(), &rosterv1.ListTrainersRequest{})
	if err != nil {
		return err
	}
	view := choiceView{Trainers: got.GetTrainers(), Site: v.Person.SiteCode}
	slices.SortStableFunc(view.Trainers, func(a, b *rosterv1.Trainer) int { // those of one's own site first
		switch own, other := a.GetHomeSiteCode() == view.Site, b.GetHomeSiteCode() == view.Site; {
		case own == other:
			return 0
		case own:
			return -1
		}
		return 1
	})
	return v.Show(choicePage, view)
}

// today sends on to the day that it is where the trainer is.
func today(v *frame.Visit) error {
	got, err := daysheetv1.NewDaySheetServiceClient(v.Conn).GetTrainerDay(v.Context(), &daysheetv1.GetTrainerDayRequest{TrainerCode: v.Path("trainer"), Day: calendar.DateIn(v.Now(), time.UTC).String()})
	if err != nil {
		return err
	}
	zone, err := calendar.LoadZone(got.GetZone())
	if err != nil {
		return err
	}
	return v.To(pathOf(v.Path("trainer"), calendar.DateIn(v.Now(), zone).String()))
}

// serveWorker gives the browser the worker that keeps a day on the phone. Its place says nothing about anybody.
func serveWorker(v *frame.Visit) error {
	h := v.Writer().Header()
	h.Set("Content-Type", "text/javascript; charset=utf-8")
	h.Set("Cache-Control", "no-cache")
	// It must see when somebody else signs in, to forget the days that it keeps.
	h.Set("Service-Worker-Allowed", "/")
	_, err := v.Writer().Write(worker)
	return err
}
