package months

import (
	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var requestPage = parse("request.html")

// requestView is one request in a plan.
type requestView struct {
	Head      head
	Code, Dog string
	Place     *plannerv1.Placement
	Mark      string
	Standing  string
	Wait      *plannerv1.Wait
	Refusals  []*plannerv1.Refusal
	Open      int32
	Weighing  *weighing
	Path      string
	MayDraft  bool
	Trouble   *frame.Trouble
	// Hold is the form that holds it to a place, for whom may; absent where nothing can be changed any more.
	Hold       *holding
	GivenUp    []codeLink
	WouldShift []codeLink
}

type codeLink struct{ Code, Path string }

// weighing is what solving the month anew has shown, in sentences.
type weighing struct {
	*plannerv1.Weighing
	Everybody string
}

var everybodyWords = map[string]string{
	"found": "It can be placed with nobody else dropped: others move.", "impossible": "It is proven that it cannot be placed without dropping somebody.",
	"not found": "No way was found to place it without dropping somebody; that there is none is not proven.",
}

// showRequest says why one request stands where it does in a plan.
func showRequest(v *frame.Visit) error {
	whole, err := readHead(v, v.Path("id"))
	if err != nil {
		return err
	}
	ask := &plannerv1.ExplainRequestRequest{PlanId: v.Path("id"), RequestCode: v.Path("code")}
	if v.Query("weigh") != "" {
		ask.Seconds = 5
	}
	reply, err := planner(v).ExplainRequest(v.Context(), ask)
	trouble, ok := frame.Mendable(err)
	if ok && ask.Seconds > 0 {
		// What was asked for in addition is refused; the rest can still be said.
		ask.Seconds = 0
		reply, err = planner(v).ExplainRequest(v.Context(), ask)
	}
	if err != nil {
		return err
	}
	view := requestOf(headOf(whole.GetPlan()), v.Path("code"), reply)
	view.MayDraft, view.Trouble = v.May(mayDraft), trouble
	if view.MayDraft && view.Head.Readable() {
		if err := holdingOf(v, &view); err != nil {
			return err
		}
	}
	if trouble != nil {
		return v.ShowAs(trouble.Status, requestPage, view)
	}
	return v.Show(requestPage, view)
}

func requestOf(h head, code string, reply *plannerv1.ExplainRequestResponse) requestView {
	r := requestView{Head: h, Code: code, Place: reply.GetPlacement(), Wait: reply.GetWait(), Refusals: reply.GetRefusals(), Open: reply.GetOpenChoices(), Path: path(h.Path+"/request", code)}
	standing := r.Place.GetStanding()
	r.Mark, r.Standing = markOf(r.Place != nil, standing, h.Promised), standingWords(r.Place != nil, standing, h.Promised)
	r.Dog = r.Place.GetDogName() + r.Wait.GetDogName()
	displaced := r.Wait.GetDisplaced()
	if w := reply.GetWeighing(); w != nil {
		r.Weighing = &weighing{Weighing: w, Everybody: everybodyWords[w.GetWithEverybody()]}
		if w.GetBest() != nil {
			displaced = w.GetBest()
		}
	}
	r.GivenUp, r.WouldShift = codeLinks(h, displaced.GetGivenUp()), codeLinks(h, displaced.GetMoved())
	return r
}

func codeLinks(h head, codes []string) []codeLink {
	links := make([]codeLink, len(codes))
	for i, c := range codes {
		links[i] = codeLink{Code: c, Path: path(h.Path+"/request", c)}
	}
	return links
}
