package today

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// kind is one thing that can be reported of a day.
type kind struct {
	// path is the last part of its address, and fields are what is asked for.
	path   string
	fields []string
	// ask calls the service: to look, or with the fingerprint of what was looked at to keep it.
	ask func(v *frame.Visit, r report) (*answer, error)
	// head says what is reported.
	head func(r report) string
}

// report is what somebody says of a day.
type report struct {
	site, day string
	value     func(name string) string
	// fingerprint is that of what was looked at; empty to look.
	fingerprint string
}

// answer is what comes of it. Repair is nil on a day without a plan.
type answer struct {
	repair  *dayplanv1.Repair
	covered int32
}

func kinds() []kind {
	return []kind{
		{"absence", []string{"trainer", "from", "last", "kind"}, reportAbsence, func(r report) string {
			from := "for the whole day"
			if at := r.value("from"); at != "" {
				from = "from " + at + " on"
			}
			if last := r.value("last"); last != "" && last != r.day {
				from += ", until " + frame.Day(last)
			}
			return r.value("trainer") + " is away " + from
		}},
		{"closure", []string{"area", "from", "to", "reason", "since"}, reportClosure, func(r report) string {
			return r.value("area") + " is closed " + stretch(r) + ": " + r.value("reason")
		}},
		{"forecast", []string{"from", "to", "degrees", "unit", "humidity", "source", "since"}, reportForecast, func(r report) string {
			return r.value("degrees") + " " + r.value("unit") + " and " + r.value("humidity") + " % humidity " + stretch(r)
		}},
	}
}

func stretch(r report) string {
	from, to := r.value("from"), r.value("to")
	if from == "" {
		from = "the beginning of the day"
	}
	if to == "" {
		to = "the end of the day"
	}
	return "from " + from + " to " + to
}

func reportAbsence(v *frame.Visit, r report) (*answer, error) {
	got, err := dayplanv1.NewDayPlanServiceClient(v.Conn).ReportAbsence(v.Context(), &dayplanv1.ReportAbsenceRequest{TrainerCode: r.value("trainer"), Day: r.day, From: r.value("from"),
		LastDay: r.value("last"), Kind: r.value("kind"), Preview: r.fingerprint == "", Fingerprint: sent(r.fingerprint)})
	return &answer{got.GetRepair(), got.GetCovered()}, err
}

// unplanned stands for the fingerprint of a day that has no plan: there is nothing to compare then.
const unplanned = "no plan"

func sent(fingerprint string) string {
	if fingerprint == unplanned {
		return ""
	}
	return fingerprint
}

func reportClosure(v *frame.Visit, r report) (*answer, error) {
	got, err := dayplanv1.NewDayPlanServiceClient(v.Conn).CloseArea(v.Context(), &dayplanv1.CloseAreaRequest{SiteCode: r.site, Day: r.day, AreaCode: r.value("area"), From: r.value("from"),
		To: r.value("to"), Reason: r.value("reason"), Since: r.value("since"), Preview: r.fingerprint == "", Fingerprint: r.fingerprint})
	return &answer{repair: got.GetRepair()}, err
}

func reportForecast(v *frame.Visit, r report) (*answer, error) {
	hours, err := hoursOf(r)
	if err != nil {
		return nil, err
	}
	got, err := dayplanv1.NewDayPlanServiceClient(v.Conn).EnterForecast(v.Context(), &dayplanv1.EnterForecastRequest{SiteCode: r.site, Day: r.day, Hours: hours, Source: r.value("source"),
		Since: r.value("since"), Preview: r.fingerprint == "", Fingerprint: r.fingerprint})
	return &answer{repair: got.GetRepair()}, err
}

// hoursOf is the same weather for each hour from one to before another.
func hoursOf(r report) (hours []*dayplanv1.ForecastHour, err error) {
	from, err := calendar.ParseClock(r.value("from"))
	if err != nil {
		return nil, apperr.InvalidField("from", err.Error(), "write a full hour such as 13:00")
	}
	to, err := calendar.ParseClock(r.value("to"))
	if err != nil || to <= from {
		return nil, apperr.InvalidField("to", "is no time after the first", "write a full hour such as 17:00")
	}
	degrees, err := strconv.ParseFloat(strings.ReplaceAll(r.value("degrees"), ",", "."), 64)
	if err != nil || math.Abs(degrees) > 200 {
		return nil, apperr.InvalidField("degrees", "is no temperature", "write degrees such as 91.5")
	}
	humidity, err := strconv.ParseInt(r.value("humidity"), 10, 32)
	if err != nil {
		return nil, apperr.InvalidField("humidity", "is no whole number", "write percent, 0 to 100")
	}
	for at := from; at < to; at += 60 {
		hours = append(hours, &dayplanv1.ForecastHour{Hour: at.String(), TemperatureTenths: int32(math.Round(degrees * 10)), Unit: r.value("unit"), Humidity: int32(humidity)})
	}
	return hours, nil
}

// repairView is what mending the day changes.
type repairView struct {
	Head, Day, Path string
	Kind            string
	Fields          []field
	Repair          *dayplanv1.Repair
	Covered         int32
	Groups          []group
	Fingerprint     string
	// At is when it was looked at, in seconds.
	At      int64
	Trouble *frame.Trouble
}

type field struct{ Name, Value string }

// group is the differences of one sort.
type group struct {
	Name, Note string
	Rows       []*dayplanv1.Difference
}

func (k kind) show(v *frame.Visit) error {
	view, err := k.look(v, v.Query)
	if t, ok := frame.Mendable(err); ok {
		return showTrouble(v, t)
	}
	if err != nil {
		return err
	}
	return v.Show(repairPage, view)
}

// showTrouble shows the day again, with what was wrong about a report.
func showTrouble(v *frame.Visit, t *frame.Trouble) error {
	d, err := readDay(v)
	if err != nil {
		return err
	}
	d.Trouble = t
	return v.ShowAs(t.Status, dayPage, d)
}

// look asks what would change, and changes nothing.
func (k kind) look(v *frame.Visit, value func(string) string) (*repairView, error) {
	r := report{site: v.Path("site"), day: v.Path("day"), value: value}
	got, err := k.ask(v, r)
	if err != nil {
		return nil, err
	}
	view := &repairView{Head: k.head(r), Day: r.day, Path: pathOf(r.site, r.day), Kind: k.path, Repair: got.repair, Covered: got.covered, Fingerprint: got.repair.GetFingerprint(), At: v.Now().Unix()}
	if got.repair == nil {
		view.Fingerprint = unplanned
	}
	for _, name := range k.fields {
		text := value(name)
		if name == "since" {
			text = got.repair.GetSince() // what had begun when it was looked at stays
		}
		view.Fields = append(view.Fields, field{name, text})
	}
	view.group()
	return view, nil
}

func (r *repairView) group() {
	for _, g := range []struct {
		kind       dayplanv1.Difference_Kind
		name, note string
	}{
		{dayplanv1.Difference_KIND_DROPPED, "Not held any more", "Each with why, and what would help."},
		{dayplanv1.Difference_KIND_COVERED, "Others take over", ""},
		{dayplanv1.Difference_KIND_DUTY, "Arrivals and handovers", "Owners with an appointment keep its time unless somebody moves it with them."},
		{dayplanv1.Difference_KIND_MOVED, "Moved", ""},
		{dayplanv1.Difference_KIND_GAINED, "Held after all", ""},
	} {
		one := group{Name: g.name, Note: g.note}
		for _, d := range r.Repair.GetDifferences() {
			if d.GetKind() == g.kind {
				one.Rows = append(one.Rows, d)
			}
		}
		if len(one.Rows) > 0 {
			r.Groups = append(r.Groups, one)
		}
	}
}

// looksLast is how long a look at a day that goes on is good for: what has begun since must not be moved.
const looksLast = 10 * time.Minute

func (k kind) keep(v *frame.Visit) error {
	r := report{site: v.Path("site"), day: v.Path("day"), value: v.Form, fingerprint: v.Form("fingerprint")}
	if r.fingerprint == "" {
		return apperr.InvalidField("fingerprint", "is empty", "look at what changes first")
	}
	at, err := strconv.ParseInt(v.Form("at"), 10, 64)
	var got *answer
	if err != nil || v.Now().Sub(time.Unix(at, 0)) > looksLast {
		err = apperr.Conflictf("LOOK_OLD", "You looked more than 10 minutes ago, and the day has gone on. Nothing was recorded. This is how it would be now.")
	} else {
		got, err = k.ask(v, r)
	}
	if t, ok := frame.Mendable(err); ok {
		return k.again(v, t)
	}
	if err != nil {
		return err
	}
	said := "Recorded: " + k.head(r) + "."
	if x := got.repair; x != nil {
		said += fmt.Sprintf(" The day is kept as you saw it: %d taken over, %d moved, %d not held any more.", got.covered, x.GetMoved(), x.GetDropped())
	}
	return v.Done(pathOf(r.site, r.day), said)
}

// again looks once more after what was looked at cannot be kept.
func (k kind) again(v *frame.Visit, t *frame.Trouble) error {
	view, err := k.look(v, func(name string) string {
		if name == "since" {
			return ""
		}
		return v.Form(name)
	})
	if told, ok := frame.Mendable(err); ok {
		return showTrouble(v, told)
	}
	if err != nil {
		return err
	}
	view.Trouble = t
	return v.ShowAs(http.StatusConflict, repairPage, view)
}
