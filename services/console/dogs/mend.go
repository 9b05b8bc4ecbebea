package dogs

import (
	"net/http"
	"strconv"

	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

type extendView struct {
	*plannerv1.PreviewExtensionResponse
	Path, DogPath string
	Trouble       *frame.Trouble
	Reason        string
}

func showExtend(v *frame.Visit) error { return previewExtension(v, nil) }

// previewExtension shows for each later graduation day what it costs; trouble says why a step was refused.
func previewExtension(v *frame.Visit, trouble *frame.Trouble) error {
	got, err := plannerv1.NewMendServiceClient(v.Conn).PreviewExtension(v.Context(), &plannerv1.PreviewExtensionRequest{DogCode: v.Path("code")})
	if err != nil {
		return err
	}
	view := extendView{PreviewExtensionResponse: got, DogPath: pathOf(v.Path("code")), Path: pathOf(v.Path("code")) + "/extend", Trouble: trouble, Reason: v.Form("reason")}
	if trouble != nil {
		return v.ShowAs(trouble.Status, extendPage, view)
	}
	return v.Show(extendPage, view)
}

// extend does what was previewed: the choice carries what it rests on.
func extend(v *frame.Visit) error {
	graduation := v.Form("graduation")
	got, err := plannerv1.NewMendServiceClient(v.Conn).ExtendStay(v.Context(), &plannerv1.ExtendStayRequest{DogCode: v.Path("code"), Graduation: graduation,
		Fingerprint: v.Form("rests." + graduation), Reason: v.Form("reason")})
	if t, ok := frame.Mendable(err); ok {
		return previewExtension(v, t)
	}
	if err != nil {
		return err
	}
	return v.Done(pathOf(v.Path("code")), "It stays until "+frame.LongDay(got.GetStay().GetGraduation())+".")
}

type isolateView struct {
	Code, DogPath, Path string
	Ask                 *plannerv1.IsolationAsk
	Plan                *plannerv1.IsolationPlan
	Trouble             *frame.Trouble
	Reason              string
}

func showIsolate(v *frame.Visit) error {
	view := isolateView{Code: v.Path("code"), DogPath: pathOf(v.Path("code")), Path: pathOf(v.Path("code")) + "/isolate",
		Ask: &plannerv1.IsolationAsk{From: v.Query("from"), Suspected: v.Query("suspected"), HoldScope: v.Query("hold_scope"), MoveRuns: v.Query("move_runs") != "", Days: nights(v.Query("days"))}}
	if view.Ask.From == "" {
		view.Ask.From = v.Now().UTC().Format("2006-01-02")
		return v.Show(isolatePage, view)
	}
	return view.preview(v)
}

func nights(text string) int32 {
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 || n > 90 {
		return 0
	}
	return int32(n)
}

// preview shows all that the isolation touches.
func (i *isolateView) preview(v *frame.Visit) error {
	got, err := plannerv1.NewMendServiceClient(v.Conn).PreviewIsolation(v.Context(), &plannerv1.PreviewIsolationRequest{DogCode: i.Code, Isolation: i.Ask})
	t, ok := frame.Mendable(err)
	if err != nil && !ok {
		return err
	}
	i.Plan = got.GetPlan()
	if i.Trouble == nil {
		i.Trouble = t
	}
	status := http.StatusOK
	if i.Trouble != nil {
		status = i.Trouble.Status
	}
	return v.ShowAs(status, isolatePage, i)
}

func isolate(v *frame.Visit) error {
	ask := &plannerv1.IsolationAsk{From: v.Form("from"), Suspected: v.Form("suspected"), HoldScope: v.Form("hold_scope"), MoveRuns: v.Form("move_runs") != "", Days: nights(v.Form("days"))}
	got, err := plannerv1.NewMendServiceClient(v.Conn).IsolateDog(v.Context(), &plannerv1.IsolateDogRequest{DogCode: v.Path("code"), Isolation: ask, Fingerprint: v.Form("rests"), Reason: v.Form("reason")})
	if t, ok := frame.Mendable(err); ok {
		view := isolateView{Code: v.Path("code"), DogPath: pathOf(v.Path("code")), Path: pathOf(v.Path("code")) + "/isolate", Ask: ask, Trouble: t, Reason: v.Form("reason")}
		return view.preview(v)
	}
	if err != nil {
		return err
	}
	return v.Done(pathOf(v.Path("code")), "It is isolated in run "+got.GetPlan().GetRunCode()+". Tell the veterinarian, and those who watch the others.")
}

// scope is where no new dog may arrive.
type scope struct{ Value, Name string }

// Scopes are the choices of an intake hold.
func (isolateView) Scopes() []scope {
	return []scope{{"row", "its row"}, {"site", "the whole site"}, {"none", "nowhere: no hold"}}
}
