// Package requests is where an office answers owners: who waits and for what, one request with its promise or its reasons, a new one taken down while
// somebody is on the telephone, and lists that come in as files. Its first page is ordered by the question that owners ask, how long still, and so by
// who has waited longest.
package requests

import (
	"embed"
	"net/http"
	"net/url"
	"strconv"

	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

//go:embed templates/*.html
var files embed.FS

var (
	listPage    = frame.Parse(files, "templates/requests.html")
	requestPage = frame.Parse(files, "templates/request.html")
	newPage     = frame.Parse(files, "templates/new.html")
	uploadPage  = frame.Parse(files, "templates/upload.html")
	importPage  = frame.Parse(files, "templates/import.html")
)

const (
	reads  = accessv1.Permission_PERMISSION_READ_RECORDS
	writes = accessv1.Permission_PERMISSION_WRITE_RECORDS
)

// pageSize is how many requests a page shows.
const pageSize = 50

// Section is the entry of the bar.
func Section() frame.Section {
	return frame.Section{Name: "Requests", Path: "/requests", Prefixes: []string{"/request", "/import", "/dog"}, Needs: reads,
		Roles: []string{"manager", "site-lead", "office", "viewer"}}
}

// Pages are the addresses.
func Pages() []frame.Page {
	shelf := newShelf()
	return []frame.Page{
		{Pattern: "GET /requests", Needs: reads, Serve: showList},
		{Pattern: "GET /requests/new", Needs: writes, Serve: showNew},
		{Pattern: "POST /requests/new", Needs: writes, Serve: enter},
		{Pattern: "GET /request/{code}", Needs: reads, Serve: showRequest},
		{Pattern: "POST /request/{code}", Needs: writes, Serve: change},
		{Pattern: "POST /request/{code}/site", Needs: writes, Serve: addSite},
		{Pattern: "POST /request/{code}/withdraw", Needs: writes, Serve: withdraw},
		{Pattern: "POST /request/{code}/open", Needs: writes, Serve: openAgain},
		{Pattern: "GET /import", Needs: writes, Serve: showUpload},
		{Pattern: "POST /import", Needs: writes, Serve: shelf.upload},
		{Pattern: "GET /import/{id}", Needs: writes, Serve: shelf.show},
		{Pattern: "POST /import/{id}", Needs: writes, Serve: shelf.mend},
		{Pattern: "GET /import/{id}/events", Needs: writes, Serve: shelf.follow},
		{Pattern: "GET /import/{id}/rejected/{number}", Needs: writes, Serve: shelf.rejected},
		{Pattern: "GET /import/{id}/mended/{number}", Needs: writes, Serve: shelf.mended},
	}
}

// line is a request of the list with how it stands.
type line struct {
	*enrollmentv1.FoundRequest
	Standing standing
	Path     string
}

// choice is a link that narrows the list.
type choice struct {
	Name, Path string
	Count      int32
	Here       bool
}

type listView struct {
	Find, State, Site string
	Sites             []*facilityv1.Site
	Choices           []choice
	Lines             []line
	Matching          int32
	From, To          int32
	Longest           int32
	Before, After     string
	MayWrite          bool
}

func showList(v *frame.Visit) error {
	view := listView{Find: v.Query("find"), State: v.Query("state"), Site: v.Query("site"), MayWrite: v.May(writes)}
	if !v.Request.URL.Query().Has("state") && view.Find == "" {
		view.State = "waiting"
	}
	page, _ := strconv.Atoi(v.Query("page"))
	page = min(max(page, 1), 100_000)
	sites, err := facilityv1.NewFacilityServiceClient(v.Conn).ListSites(v.Context(), &facilityv1.ListSitesRequest{})
	if err != nil {
		return err
	}
	view.Sites = sites.GetSites()
	ask := &enrollmentv1.FindRequestsRequest{Find: cut(view.Find, 100), State: view.State, SiteCode: view.Site, Limit: pageSize, Offset: int32((page - 1) * pageSize)}
	got, err := enrollmentv1.NewEnrollmentServiceClient(v.Conn).FindRequests(v.Context(), ask)
	if err != nil {
		return err
	}
	codes := make([]string, len(got.GetRequests()))
	for i, r := range got.GetRequests() {
		codes[i] = r.GetRequest().GetCode()
		view.Longest = max(view.Longest, waits(r))
	}
	standings, err := standingsOf(v, codes)
	if err != nil {
		return err
	}
	for _, r := range got.GetRequests() {
		view.Lines = append(view.Lines, line{FoundRequest: r, Standing: standingOf(r.GetRequest(), standings[r.GetRequest().GetCode()]), Path: pathOf(r.GetRequest().GetCode())})
	}
	view.fill(got, page)
	return v.Show(listPage, view)
}

// waits are the days that somebody waits who has no promise.
func waits(r *enrollmentv1.FoundRequest) int32 {
	if r.GetStanding() == "waiting" {
		return r.GetWaitingDays()
	}
	return 0
}

func (l *listView) fill(got *enrollmentv1.FindRequestsResponse, page int) {
	l.Matching = got.GetMatching()
	l.From, l.To = int32((page-1)*pageSize+1), int32((page-1)*pageSize+len(got.GetRequests()))
	if page > 1 {
		l.Before = l.path(l.State, page-1)
	}
	if l.To < l.Matching {
		l.After = l.path(l.State, page+1)
	}
	all := got.GetWaiting() + got.GetPromised() + got.GetWithdrawn()
	for _, c := range []choice{{Name: "waiting", Count: got.GetWaiting()}, {Name: "promised", Count: got.GetPromised()}, {Name: "withdrawn", Count: got.GetWithdrawn()}, {Name: "", Count: all}} {
		c.Path, c.Here = l.path(c.Name, 1), c.Name == l.State
		if c.Name == "" {
			c.Name = "all"
		}
		l.Choices = append(l.Choices, c)
	}
}

func (l *listView) path(state string, page int) string {
	q := url.Values{"state": {state}}
	if l.Find != "" {
		q.Set("find", l.Find)
	}
	if l.Site != "" {
		q.Set("site", l.Site)
	}
	if page > 1 {
		q.Set("page", strconv.Itoa(page))
	}
	return "/requests?" + q.Encode()
}

// pathOf is the address of a request.
func pathOf(code string) string { return "/request/" + url.PathEscape(code) }

// cut shortens a text to a number of characters.
func cut(text string, most int) string {
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most])
	}
	return text
}

// standingsOf asks how requests stand; one of which the planner knows nothing is absent.
func standingsOf(v *frame.Visit, codes []string) (map[string]*plannerv1.Standing, error) {
	byCode := map[string]*plannerv1.Standing{}
	if len(codes) == 0 || !v.May(accessv1.Permission_PERMISSION_READ_PLANS) {
		return byCode, nil
	}
	got, err := plannerv1.NewStandingServiceClient(v.Conn).ReadStandings(v.Context(), &plannerv1.ReadStandingsRequest{RequestCodes: codes})
	for _, s := range got.GetStandings() {
		byCode[s.GetRequestCode()] = s
	}
	return byCode, err
}

// shownAgain is the status of a form that is shown again with its faults.
const shownAgain = http.StatusUnprocessableEntity
