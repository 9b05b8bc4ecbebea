package requests

import (
	"net/url"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/console/entry"
	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// requestView is what the page of one request shows.
type requestView struct {
	*enrollmentv1.ReadRequestResponse
	Owner    *enrollmentv1.Owner
	Standing standing
	// Changes are what would have let it in, as the newest plan counted.
	Changes []*plannerv1.Change
	// Fields are the form for changing it; Others are faults that stand at none of them.
	Fields                []entry.Field
	Others                []string
	Trouble               *frame.Trouble
	OtherSites            []*facilityv1.Site
	DogPath, Path, MailTo string
	// Letters are those to this owner; empty for who may not read them.
	Letters  string
	MayWrite bool
}

// changed are the columns that a form changes; the dog of a request never does.
var changed = []string{"program", "window_first", "window_last", "wished", "priority", "deposit", "household", "note"}

func showRequest(v *frame.Visit) error {
	view, err := readRequest(v)
	if err != nil {
		return err
	}
	return v.Show(requestPage, view)
}

func readRequest(v *frame.Visit) (*requestView, error) {
	dogs, code := enrollmentv1.NewEnrollmentServiceClient(v.Conn), v.Path("code")
	got, err := dogs.ReadRequest(v.Context(), &enrollmentv1.ReadRequestRequest{RequestCode: code})
	if err != nil {
		return nil, err
	}
	dog, err := dogs.ReadDog(v.Context(), &enrollmentv1.ReadDogRequest{DogCode: got.GetRequest().GetDogCode()})
	if err != nil {
		return nil, err
	}
	view := &requestView{ReadRequestResponse: got, Owner: dog.GetOwner(), MayWrite: v.May(writes), Path: pathOf(code), DogPath: "/dog/" + url.PathEscape(dog.GetCode())}
	if err := view.stand(v); err != nil {
		return nil, err
	}
	if view.MayWrite {
		if err := view.addForm(v); err != nil {
			return nil, err
		}
	}
	if view.Owner.GetEmail() != "" {
		if v.May(accessv1.Permission_PERMISSION_MANAGE_MAIL) {
			view.Letters = "/letters?" + url.Values{"to": {view.Owner.GetEmail()}}.Encode()
		}
		view.MailTo = "mailto:" + url.PathEscape(view.Owner.GetEmail()) + "?subject=" + url.PathEscape(got.GetRequest().GetDogName()) + "&body=" + url.PathEscape(view.Answer())
	}
	return view, nil
}

// stand reads how the request stands, and what would have let it in where a plan left it out.
func (r *requestView) stand(v *frame.Visit) error {
	standings, err := standingsOf(v, []string{r.GetRequest().GetCode()})
	if err != nil {
		return err
	}
	s := standings[r.GetRequest().GetCode()]
	r.Standing = standingOf(r.GetRequest(), s)
	if !r.Standing.Promised && r.GetRequest().GetState() == "open" && !s.GetPlaced() {
		r.Changes = s.GetChanges()
	}
	return nil
}

// Answer is what can be told to the owner, in words.
func (r *requestView) Answer() string {
	if r.Standing.Promised || r.GetRequest().GetState() != "open" {
		return r.Standing.Text
	}
	return strings.TrimSpace(r.Standing.Text + " " + r.Standing.Remedy)
}

// addForm makes the form from the columns of a request.
func (r *requestView) addForm(v *frame.Visit) error {
	got, err := exchangev1.NewExchangeServiceClient(v.Conn).ReadRecord(v.Context(), &exchangev1.ReadRecordRequest{Kind: "requests", Key: keyOf(r.GetRequest().GetCode())})
	if err != nil {
		return err
	}
	for i, c := range got.GetKind().GetColumns() {
		if slices.Contains(changed, c.GetName()) {
			r.Fields = append(r.Fields, entry.OfColumn("request."+c.GetName(), c, got.GetRecord().GetCells()[i], codesOf(got, c.GetName())))
		}
	}
	sites, err := facilityv1.NewFacilityServiceClient(v.Conn).ListSites(v.Context(), &facilityv1.ListSitesRequest{})
	for _, s := range sites.GetSites() {
		if !slices.ContainsFunc(r.GetRequest().GetSites(), func(c *enrollmentv1.SiteChoice) bool { return c.GetSiteCode() == s.GetCode() }) {
			r.OtherSites = append(r.OtherSites, s)
		}
	}
	return err
}

// keyOf is the key of a record whose key is one code; | and ; within one are written as exchange writes them.
func keyOf(code string) string {
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, "|", `\|`).Replace(code)
}

func codesOf(r *exchangev1.ReadRecordResponse, column string) *exchangev1.Codes {
	for _, c := range r.GetCodes() {
		if c.GetColumn() == column {
			return c
		}
	}
	return nil
}

// change keeps what the form says; all other columns stay as they are.
func change(v *frame.Visit) error {
	return keep(v, "The request is changed. Drafts made from now on go by it.", func(column, value string) string {
		if slices.Contains(changed, column) {
			return v.Form("request." + column)
		}
		return value
	})
}

// openAgain puts a withdrawn request on the list again.
func openAgain(v *frame.Visit) error {
	return keep(v, "The request is on the list again, with the day on which it was first asked.", func(column, value string) string {
		if column == "state" {
			return "open"
		}
		return value
	})
}

// keep writes the request with other cells.
func keep(v *frame.Visit, done string, cell func(column, value string) string) error {
	code := v.Path("code")
	got, err := exchangev1.NewExchangeServiceClient(v.Conn).ReadRecord(v.Context(), &exchangev1.ReadRecordRequest{Kind: "requests", Key: keyOf(code)})
	if err != nil {
		return err
	}
	row := entry.Row{Name: "request", Kind: "requests"}
	for i, c := range got.GetKind().GetColumns() {
		row.Columns, row.Cells = append(row.Columns, c.GetName()), append(row.Cells, cell(c.GetName(), got.GetRecord().GetCells()[i]))
	}
	faults, err := entry.Take(v, row)
	if faults == nil && err == nil {
		return v.Done(pathOf(code), done)
	}
	return again(v, faults, err)
}

// again shows the page with what is wrong, at its fields.
func again(v *frame.Visit, faults entry.Faults, failed error) error {
	t, ok := frame.Mendable(failed)
	if failed != nil && !ok {
		return failed
	}
	view, err := readRequest(v)
	if err != nil {
		return err
	}
	view.Trouble = t
	var shown []string
	for i := range view.Fields {
		f := &view.Fields[i]
		if v.Request.PostForm.Has(f.Name) {
			f.Value = v.Form(f.Name)
		}
		f.Fault = faults[f.Name]
		shown = append(shown, f.Name)
	}
	view.Others = faults.Any(shown...)
	return v.ShowAs(shownAgain, requestPage, view)
}

func addSite(v *frame.Visit) error {
	code := v.Path("code")
	faults, err := entry.Take(v, entry.Row{Name: "site", Kind: "request-sites", Columns: []string{"request", "site", "travel_minutes"},
		Cells: []string{code, v.Form("site"), v.Form("travel_minutes")}})
	if faults == nil && err == nil {
		return v.Done(pathOf(code), "The owner accepts "+v.Form("site")+" as well.")
	}
	return again(v, faults, err)
}

func withdraw(v *frame.Visit) error {
	_, err := enrollmentv1.NewEnrollmentServiceClient(v.Conn).WithdrawRequest(v.Context(), &enrollmentv1.WithdrawRequestRequest{RequestCode: v.Path("code")})
	if err != nil {
		return again(v, nil, err)
	}
	return v.Done(pathOf(v.Path("code")), "The request is withdrawn. It can be put on the list again on this page.")
}
