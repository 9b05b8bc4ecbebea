// Package months is next month as the operations manager decides it: is this plan good enough to promise, and if not, what binds and what
// would change it. Its pages, by the question that is answered there:
//
//	plan.go      what is the plan in hand worth, and how much can still be found
//	load.go      what binds where: load against capacity, site by site; picture.go draws it
//	site.go      one site by days, its trainers' hours by week
//	requests.go  who is placed and who waits, fifty at a time
//	request.go   why one request stands where it does; pin.go holds it to a place, once what that costs has been shown
//	draft.go     a search that runs: follow it, keep what it has, or let it go
//	compare.go   two plans of a month beside each other
//	worth.go     what one more run, hour or place would be worth
//	moves.go     what could be gained if promises moved
//	promise.go   what publishing promises, and then the button
//
// Everything is asked of the planner's calls; what is drawn is reckoned here by functions without state.
package months

import (
	"embed"
	"io/fs"
	"net/url"

	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

//go:embed templates/*.html
var files embed.FS

// parse reads a page's template with what all of them share.
func parse(name string) *frame.Template {
	sub, err := fs.Sub(files, "templates")
	if err != nil {
		panic(err) // part of the program
	}
	return frame.Parse(sub, name)
}

const (
	mayRead    = accessv1.Permission_PERMISSION_READ_PLANS
	mayDraft   = accessv1.Permission_PERMISSION_DRAFT_PLANS
	mayPublish = accessv1.Permission_PERMISSION_PUBLISH_PLANS
)

// Section is the entry of the bar.
func Section() frame.Section {
	return frame.Section{Name: "Month", Path: "/month", Prefixes: []string{"/plan"}, Needs: mayRead}
}

// Pages are the addresses of next month.
func Pages() []frame.Page {
	return []frame.Page{
		{Pattern: "GET /month", Needs: mayRead, Serve: toMonth},
		{Pattern: "GET /month/{month}", Needs: mayRead, Serve: showMonth},
		{Pattern: "POST /month/{month}/draft", Needs: mayDraft, Serve: startDraft},
		{Pattern: "GET /month/{month}/moves", Needs: mayRead, Serve: showMoves},
		{Pattern: "POST /month/{month}/moves", Needs: mayDraft, Serve: startMoves},
		{Pattern: "GET /month/{month}/moves/{study}/events", Needs: mayRead, Serve: followMoves},
		{Pattern: "POST /month/{month}/moves/{study}/stop", Needs: mayDraft, Serve: stopMoves},
		{Pattern: "GET /plan/{id}", Needs: mayRead, Serve: showPlan},
		{Pattern: "GET /plan/{id}/progress", Needs: mayRead, Serve: showProgress},
		{Pattern: "GET /plan/{id}/events", Needs: mayRead, Serve: followDraft},
		{Pattern: "POST /plan/{id}/finish", Needs: mayDraft, Serve: finishDraft},
		{Pattern: "POST /plan/{id}/discard", Needs: mayDraft, Serve: discardDraft},
		{Pattern: "GET /plan/{id}/site/{site}", Needs: mayRead, Serve: showSite},
		{Pattern: "GET /plan/{id}/requests", Needs: mayRead, Serve: listRequests},
		{Pattern: "GET /plan/{id}/request/{code}", Needs: mayRead, Serve: showRequest},
		{Pattern: "GET /plan/{id}/request/{code}/hold", Needs: mayRead, Serve: showHold},
		{Pattern: "POST /plan/{id}/request/{code}/hold", Needs: mayDraft, Serve: keepHold},
		{Pattern: "GET /plan/{id}/request/{code}/wish", Needs: mayRead, Serve: showWish},
		{Pattern: "POST /month/{month}/unpin", Needs: mayDraft, Serve: letGo},
		{Pattern: "GET /plan/{id}/compare", Needs: mayRead, Serve: chooseOther},
		{Pattern: "GET /plan/{id}/compare/{other}", Needs: mayRead, Serve: comparePlans},
		{Pattern: "GET /plan/{id}/worth", Needs: mayRead, Serve: showWorth},
		{Pattern: "GET /plan/{id}/promise", Needs: mayPublish, Serve: showPromise},
		{Pattern: "POST /plan/{id}/promise", Needs: mayPublish, Serve: publishPlan},
	}
}

func planner(v *frame.Visit) plannerv1.PlannerServiceClient {
	return plannerv1.NewPlannerServiceClient(v.Conn)
}

// siteNames are the names of all sites by code.
func siteNames(v *frame.Visit) (names map[string]string, codes []string, err error) {
	reply, err := facilityv1.NewFacilityServiceClient(v.Conn).ListSites(v.Context(), &facilityv1.ListSitesRequest{})
	if err != nil {
		return nil, nil, err
	}
	names = map[string]string{}
	for _, s := range reply.GetSites() {
		names[s.GetCode()] = s.GetName()
		codes = append(codes, s.GetCode())
	}
	return names, codes, nil
}

// path puts an address together from a base of ours and parts that people have named, of whatever characters.
func path(base string, parts ...string) string {
	for _, p := range parts {
		base += "/" + url.PathEscape(p)
	}
	return base
}
