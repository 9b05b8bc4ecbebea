package months

import (
	"net/http"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

var holdPage = parse("hold.html")

// holding is what the form that holds a request to a place offers.
type holding struct {
	Action   string
	At       *plannerv1.PinAt
	Sites    []string
	Classes  []string
	Trainers []trainerChoice
	// First and Last are the arrival days that the owner would allow instead.
	First, Last string
	// Pin is what holds it now; absent when nothing does.
	Pin *plannerv1.Pin
	// Unpin is where the form that lets it go is sent.
	Unpin string
}

// trainerChoice is a trainer with the home site.
type trainerChoice struct{ Code, Name, Site string }

// holdView is what holding a request to a place, or another wish, would do.
type holdView struct {
	Head      head
	Code      string
	Request   string
	At        *plannerv1.PinAt
	Wish      *plannerv1.Wish
	Reply     *plannerv1.PreviewPlacementResponse
	Found     int64
	Displaced []codeLink
	Gained    []codeLink
	Shifts    []shift
	Nearest   *nearest
	MayDraft  bool
	Trouble   *frame.Trouble
	OutOfDate bool
	Note      string
	Words     string
}

// nearest is the smallest step from the plan to one with the request.
type nearest struct {
	Points           int64
	Displaced, Moved []codeLink
}

// shift is a request that would be placed otherwise.
type shift struct {
	Code, Dog, Path string
	Before, After   string
}

// holdingOf fills the form for one request.
func holdingOf(v *frame.Visit, r *requestView) error {
	_, sites, err := siteNames(v)
	if err != nil {
		return err
	}
	trainers, err := rosterv1.NewRosterServiceClient(v.Conn).ListTrainers(v.Context(), &rosterv1.ListTrainersRequest{})
	if err != nil {
		return err
	}
	f := &holding{Action: r.Path + "/hold", Sites: sites, Classes: []string{"S", "M", "L", "XL"}, At: &plannerv1.PinAt{}, Unpin: path("/month", r.Head.Month, "unpin")}
	for _, t := range trainers.GetTrainers() {
		f.Trainers = append(f.Trainers, trainerChoice{Code: t.GetCode(), Name: t.GetName(), Site: t.GetHomeSiteCode()})
	}
	switch {
	case r.Place != nil:
		f.At = &plannerv1.PinAt{SiteCode: r.Place.GetSiteCode(), Arrival: r.Place.GetArrival()}
	case len(r.Wait.GetChanges()) > 0:
		f.At = &plannerv1.PinAt{SiteCode: r.Wait.GetChanges()[0].GetSiteCode(), Arrival: r.Wait.GetChanges()[0].GetArrival()}
	case len(r.Wait.GetSiteCodes()) > 0:
		f.At = &plannerv1.PinAt{SiteCode: r.Wait.GetSiteCodes()[0]}
	}
	for _, refusal := range r.Refusals {
		if f.First == "" || refusal.GetFirstDay() != "" && refusal.GetFirstDay() < f.First {
			f.First = refusal.GetFirstDay()
		}
		f.Last = max(f.Last, refusal.GetLastDay())
	}
	pins, err := planner(v).ListPins(v.Context(), &plannerv1.ListPinsRequest{Month: r.Head.Month})
	if err != nil {
		return err
	}
	if at := slices.IndexFunc(pins.GetPins(), func(p *plannerv1.Pin) bool { return p.GetRequestCode() == r.Code }); at >= 0 {
		f.Pin = pins.GetPins()[at]
		f.At = f.Pin.GetAt()
	}
	r.Hold = f
	return nil
}

// pinAt reads where a request is to be held to, from an address or a form.
func pinAt(get func(string) string) *plannerv1.PinAt {
	return &plannerv1.PinAt{SiteCode: get("site"), Arrival: get("arrival"), RunClass: get("run_class"), TrainerCode: get("trainer")}
}

// showHold shows what holding a request to a place would cost, before it is kept.
func showHold(v *frame.Visit) error {
	at := pinAt(v.Query)
	return holdAs(v, &plannerv1.PreviewPlacementRequest{Change: &plannerv1.PreviewPlacementRequest_Pin{Pin: at}}, nil)
}

// showWish shows what another wish of the owner would gain or cost.
func showWish(v *frame.Visit) error {
	wish := &plannerv1.Wish{FirstDay: v.Query("first"), LastDay: v.Query("last"), SiteCodes: v.Request.URL.Query()["site"]}
	wish.SiteCodes = slices.DeleteFunc(wish.SiteCodes, func(s string) bool { return strings.TrimSpace(s) == "" })
	return holdAs(v, &plannerv1.PreviewPlacementRequest{Change: &plannerv1.PreviewPlacementRequest_Wish{Wish: wish}}, nil)
}

// holdAs shows a preview, with why keeping it was refused.
func holdAs(v *frame.Visit, ask *plannerv1.PreviewPlacementRequest, trouble *frame.Trouble) error {
	whole, err := readHead(v, v.Path("id"))
	if err != nil {
		return err
	}
	h := headOf(whole.GetPlan())
	view := holdView{Head: h, Code: v.Path("code"), Request: path(h.Path+"/request", v.Path("code")), At: ask.GetPin(), Wish: ask.GetWish(), MayDraft: v.May(mayDraft), Trouble: trouble}
	view.Note = v.Form("note")
	if view.At != nil {
		view.Words = pinWords(view.At)
	} else {
		view.Words = wishWords(view.Wish)
	}
	if trouble == nil {
		ask.PlanId, ask.RequestCode, ask.Seconds = h.ID, view.Code, previewSeconds
		reply, err := planner(v).PreviewPlacement(v.Context(), ask)
		refused, ok := frame.Mendable(err)
		if err != nil && !ok {
			return err
		}
		view.Trouble = refused
		view.fill(reply)
	}
	if view.Trouble == nil {
		return v.Show(holdPage, view)
	}
	view.OutOfDate = view.Trouble.Status == http.StatusConflict
	return v.ShowAs(view.Trouble.Status, holdPage, view)
}

// previewSeconds is how long the month is solved anew for a preview.
const previewSeconds = 5

func (h *holdView) fill(reply *plannerv1.PreviewPlacementResponse) {
	if reply == nil {
		return
	}
	h.Reply, h.Found = reply, reply.GetPointsAfter()-reply.GetPointsBefore()
	h.Displaced, h.Gained = codeLinks(h.Head, reply.GetDisplaced()), codeLinks(h.Head, reply.GetGained())
	for _, s := range reply.GetShifts() {
		h.Shifts = append(h.Shifts, shift{Code: s.GetRequestCode(), Dog: s.GetDogName(), Path: path(h.Head.Path+"/request", s.GetRequestCode()), Before: atWords(s.GetBefore()), After: atWords(s.GetAfter())})
	}
	if s := reply.GetSmallest(); s != nil {
		h.Nearest = &nearest{Points: -s.GetPoints(), Displaced: codeLinks(h.Head, s.GetDisplaced()), Moved: codeLinks(h.Head, s.GetMoved())}
	}
}

// LossLeast and LossMost are what the best plan loses, proven.
func (h holdView) LossLeast() int64 { return -h.Reply.GetGainMost() }

// LossMost is the other end of it.
func (h holdView) LossMost() int64 { return -h.Reply.GetGainLeast() }

// PlacedWords says where the request would be.
func (h holdView) PlacedWords() string { return atWords(h.Reply.GetPlacement()) }

func atWords(p *plannerv1.PlacedAt) string {
	if p == nil {
		return "waits"
	}
	return p.GetSiteCode() + ", run " + p.GetRunClass() + ", " + p.GetTrainerCode() + ", " + frame.Day(p.GetArrival()) + " to " + frame.Day(p.GetGraduation())
}

// pinWords says where a request is held to.
func pinWords(at *plannerv1.PinAt) string {
	words := at.GetSiteCode() + ", arriving " + frame.Day(at.GetArrival())
	if at.GetRunClass() != "" {
		words += ", in a run of class " + at.GetRunClass()
	}
	if at.GetTrainerCode() != "" {
		words += ", with " + at.GetTrainerCode()
	}
	return words
}

// wishWords says what an owner would allow.
func wishWords(w *plannerv1.Wish) string {
	var words []string
	if w.GetFirstDay() != "" {
		words = append(words, "from "+frame.Day(w.GetFirstDay()))
	}
	if w.GetLastDay() != "" {
		words = append(words, "to "+frame.Day(w.GetLastDay()))
	}
	if len(w.GetSiteCodes()) > 0 {
		words = append(words, "at "+strings.Join(w.GetSiteCodes(), " or "))
	}
	return strings.Join(words, " ")
}

// keepHold holds a request to a place, as it was shown.
func keepHold(v *frame.Visit) error {
	at := pinAt(v.Form)
	reply, err := planner(v).PinPlacement(v.Context(), &plannerv1.PinPlacementRequest{RequestCode: v.Path("code"), Pin: at, Fingerprint: v.Form("fingerprint"), Note: v.Form("note")})
	if trouble, ok := frame.Mendable(err); ok {
		return holdAs(v, &plannerv1.PreviewPlacementRequest{Change: &plannerv1.PreviewPlacementRequest_Pin{Pin: at}}, trouble)
	}
	if err != nil {
		return err
	}
	return v.Done(path("/plan", v.Path("id"), "request", v.Path("code")), reply.GetPin().GetRequestCode()+" is held to "+pinWords(reply.GetPin().GetAt())+". Plans until now do not know of it: draft anew.")
}

// letGo takes a pin away.
func letGo(v *frame.Visit) error {
	month, err := monthOf(v)
	if err != nil {
		return err
	}
	reply, err := planner(v).Unpin(v.Context(), &plannerv1.UnpinRequest{RequestCode: v.Form("code")})
	if err != nil {
		return err
	}
	return v.Done(path("/month", month.String()), reply.GetPin().GetRequestCode()+" is held to no place any more. Plans until now do not know of it: draft anew.")
}
