package months

import (
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var requestsPage = parse("requests.html")

// pageRows is how many requests stand on one page.
const pageRows = 50

// listView is one page of a plan's requests.
type listView struct {
	Head   head
	Find   string
	Site   string
	Which  string
	Sites  []string
	Kinds  []kindLink
	Rows   []row
	Totals *plannerv1.PlannedTotals
	// First and Last are the numbers of the rows that are shown; Back and On the addresses of the pages around, empty at the ends.
	First, Last int32
	Back, On    string
	Self        string
}

// kindLink picks a part of the requests.
type kindLink struct {
	Word, Path string
	Number     int32
	Here       bool
}

// row is one request.
type row struct {
	Code, Dog, Path string
	Placed, Hard    bool
	Pinned          bool
	Site, Run       string
	Trainer         string
	Arrival         string
	Graduation      string
	Points          int64
	Mark, Standing  string
	Reason, Remedy  string
}

var kinds = []struct {
	value, word string
	kind        plannerv1.PlannedKind
	count       func(*plannerv1.PlannedTotals) int32
}{
	{"", "all", plannerv1.PlannedKind_PLANNED_KIND_UNSPECIFIED, (*plannerv1.PlannedTotals).GetAll},
	{"placed", "placed", plannerv1.PlannedKind_PLANNED_KIND_PLACED, (*plannerv1.PlannedTotals).GetPlaced},
	{"waiting", "waiting", plannerv1.PlannedKind_PLANNED_KIND_WAITING, (*plannerv1.PlannedTotals).GetWaiting},
	{"moved", "moved promises", plannerv1.PlannedKind_PLANNED_KIND_MOVED, (*plannerv1.PlannedTotals).GetMoved},
	{"dropped", "promises given up", plannerv1.PlannedKind_PLANNED_KIND_DROPPED, (*plannerv1.PlannedTotals).GetDropped},
}

// listRequests shows one page of the requests of a plan.
func listRequests(v *frame.Visit) error {
	whole, err := readHead(v, v.Path("id"))
	if err != nil {
		return err
	}
	view := listView{Head: headOf(whole.GetPlan()), Find: v.Query("find"), Site: v.Query("site"), Which: v.Query("which")}
	for _, s := range whole.GetSites() {
		view.Sites = append(view.Sites, s.GetSiteCode())
	}
	from, _ := strconv.Atoi(v.Query("from")) // what is no number is the beginning
	from = min(max(from, 0), 1_000_000)
	ask := &plannerv1.ListPlannedRequest{PlanId: view.Head.ID, Find: view.Find, SiteCode: view.Site, Limit: pageRows, Offset: int32(from)}
	for _, k := range kinds {
		if k.value == view.Which {
			ask.Which = k.kind
		}
	}
	reply, err := planner(v).ListPlanned(v.Context(), ask)
	if err != nil {
		return err
	}
	view.fill(reply, int32(from))
	if v.IsPart() {
		return v.Part(requestsPage, "list", view)
	}
	return v.Show(requestsPage, view)
}

func (l *listView) fill(reply *plannerv1.ListPlannedResponse, from int32) {
	l.Totals = reply.GetTotals()
	for _, p := range reply.GetRows() {
		l.Rows = append(l.Rows, rowOf(p, l.Head))
	}
	for _, k := range kinds {
		l.Kinds = append(l.Kinds, kindLink{Word: k.word, Path: l.address(k.value, 0), Number: k.count(l.Totals), Here: k.value == l.Which})
	}
	if len(l.Rows) > 0 {
		l.First, l.Last = from+1, from+int32(len(l.Rows))
	}
	l.Self = l.Head.Path + "/requests"
	if from > 0 {
		l.Back = l.address(l.Which, max(0, from-pageRows))
	}
	if l.Last > 0 && l.Last < l.Totals.GetMatching() {
		l.On = l.address(l.Which, from+pageRows)
	}
}

// address is the page of a part of the requests that begins after so many rows.
func (l *listView) address(which string, from int32) string {
	pairs := []string{"find", l.Find, "site", l.Site, "which", which}
	if from > 0 {
		pairs = append(pairs, "from", strconv.Itoa(int(from)))
	}
	q := query(pairs...)
	if q == "" {
		return l.Head.Path + "/requests"
	}
	return l.Head.Path + "/requests?" + q
}

// query writes pairs of names and values for an address; empty values are left out.
func query(pairs ...string) string {
	values := url.Values{}
	for pair := range slices.Chunk(pairs, 2) {
		if pair[1] != "" {
			values.Set(pair[0], pair[1])
		}
	}
	return values.Encode()
}

func rowOf(p *plannerv1.Planned, h head) row {
	return row{
		Code: p.GetRequestCode(), Dog: p.GetDogName(), Path: path(h.Path+"/request", p.GetRequestCode()), Placed: p.GetPlaced(), Hard: p.GetHard(), Pinned: p.GetPinned(),
		Site: p.GetSiteCode(), Run: p.GetRunCode(), Trainer: p.GetTrainerCode(), Arrival: p.GetArrival(), Graduation: p.GetGraduation(), Points: p.GetPoints(),
		Mark: markOf(p.GetPlaced(), p.GetStanding(), h.Promised), Standing: standingWords(p.GetPlaced(), p.GetStanding(), h.Promised), Reason: firstClause(p.GetReason()), Remedy: p.GetRemedy(),
	}
}

// firstClause is what a reason says first. The rest, what letting the request in would do to others, stands on the request's own page.
func firstClause(reason string) string {
	first, _, _ := strings.Cut(reason, "; ")
	return first
}

// markOf is the class of the mark of a request: a promise, a proposal, or waiting.
func markOf(placed bool, standing string, promised bool) string {
	switch {
	case !placed:
		return "waiting"
	case promised || standing == "confirmed" || standing == "in residence" || standing == "kept":
		return "promised"
	}
	return "proposed"
}

// standingWords says what a placement is to the promises there were.
func standingWords(placed bool, standing string, promised bool) string {
	switch {
	case !placed:
		return "waits"
	case standing == "moved" && promised:
		return "promise, moved"
	case standing == "moved":
		return "would move"
	case standing == "new" && promised, standing == "kept":
		return "promise"
	case standing == "new":
		return "proposed"
	}
	return standing
}
