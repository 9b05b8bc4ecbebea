// Package setup is where a school says what it is: its places, people at work, programs, rules with where they are from, and what its preferences are
// worth. It is ordered by what each of these decides in a plan. Lists and forms are made from what each kind of record says of itself, so that a new
// column needs no page.
package setup

import (
	"embed"
	"fmt"
	"net/url"
	"slices"
	"strconv"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/entry"
	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

//go:embed templates/*.html
var files embed.FS

var (
	schoolPage = frame.Parse(files, "templates/school.html")
	kindPage   = frame.Parse(files, "templates/kind.html")
	recordPage = frame.Parse(files, "templates/record.html")
	policyPage = frame.Parse(files, "templates/policy.html")
)

const (
	reads  = accessv1.Permission_PERMISSION_READ_RECORDS
	writes = accessv1.Permission_PERMISSION_WRITE_RECORDS
	plans  = accessv1.Permission_PERMISSION_READ_PLANS
	policy = accessv1.Permission_PERMISSION_SET_POLICY
)

// pageSize is how many records a page shows.
const pageSize = 50

// Section is the entry of the bar.
func Section() frame.Section {
	return frame.Section{Name: "School", Path: "/school", Needs: reads, Roles: []string{"manager", "site-lead", "office", "viewer"}}
}

// Pages are the addresses.
func Pages() []frame.Page {
	return []frame.Page{
		{Pattern: "GET /school", Needs: reads, Serve: showSchool},
		{Pattern: "GET /school/policy", Needs: plans, Serve: showPolicy},
		{Pattern: "POST /school/policy", Needs: policy, Serve: setPolicy},
		{Pattern: "GET /school/codes", Needs: reads, Serve: showCodes},
		{Pattern: "GET /school/export", Needs: reads, Serve: export},
		{Pattern: "GET /school/{kind}", Needs: reads, Serve: showKind},
		{Pattern: "GET /school/{kind}/record", Needs: reads, Serve: showRecord},
		{Pattern: "POST /school/{kind}/record", Needs: writes, Serve: keep},
		{Pattern: "GET /school/{kind}/template", Needs: reads, Serve: template},
		{Pattern: "GET /school/{kind}/export", Needs: reads, Serve: export},
	}
}

// subject is what belongs together in a school.
type subject struct {
	Name, Decides string
	kinds         []string
	Kinds         []kindLink
}

type kindLink struct{ Name, Title, About, Path string }

// subjects are in the order in which a school is set up.
var subjects = []subject{
	{Name: "Sites and runs", Decides: "How many dogs can be where, and of which size.", kinds: []string{"sites", "runs", "closures", "areas", "area-closures", "places", "place-exceptions"}},
	{Name: "Trainers and their time", Decides: "Who can take which dog, and for how many minutes a day.", kinds: []string{"trainers", "shifts", "absences", "loans"}},
	{Name: "Programs and the skill ladder", Decides: "What a dog is taught, in how many nights, and when it is ready.", kinds: []string{"programs", "skills", "targets"}},
	{Name: "Rules of work, health and heat", Decides: "What no plan may do, with where each rule is from. Local codes and a veterinarian go before them. Heat levels stand with each site.",
		kinds: []string{"work-rules", "health-rules", "forecast", "handover-settings"}},
	{Name: "Owners and dogs", Decides: "Who may handle a dog, what it takes and what it must not meet.",
		kinds: []string{"owners", "dogs", "vaccinations", "answers", "bites", "apart", "medicines", "feeding", "vets", "workload-overrides"}},
	{Name: "Requests and promises", Decides: "What plans have to place, and what they must keep.", kinds: []string{"requests", "request-sites", "owner-times", "stays", "sessions"}},
}

// made are kinds that other pages make: they are listed here and have no form.
var made = []string{"stays", "sessions", "policy"}

type schoolView struct {
	Subjects              []subject
	MayWrite, MayPlans    bool
	MayPeople, MayLetters bool
}

func showSchool(v *frame.Visit) error {
	got, err := exchangev1.NewExchangeServiceClient(v.Conn).ListKinds(v.Context(), &exchangev1.ListKindsRequest{})
	if err != nil {
		return err
	}
	left := map[string]*exchangev1.Kind{}
	for _, k := range got.GetKinds() {
		left[k.GetName()] = k
	}
	delete(left, "policy")
	view := schoolView{MayWrite: v.May(writes), MayPlans: v.May(plans), MayPeople: v.May(accessv1.Permission_PERMISSION_MANAGE_PEOPLE), MayLetters: v.May(accessv1.Permission_PERMISSION_MANAGE_MAIL)}
	for _, s := range subjects {
		for _, name := range s.kinds {
			if k := left[name]; k != nil {
				s.Kinds = append(s.Kinds, linkOf(k))
				delete(left, name)
			}
		}
		view.Subjects = append(view.Subjects, s)
	}
	rest := subject{Name: "Further lists"}
	for _, k := range got.GetKinds() {
		if left[k.GetName()] != nil {
			rest.Kinds = append(rest.Kinds, linkOf(k))
		}
	}
	if len(rest.Kinds) > 0 {
		view.Subjects = append(view.Subjects, rest)
	}
	return v.Show(schoolPage, view)
}

func linkOf(k *exchangev1.Kind) kindLink {
	return kindLink{k.GetName(), title(k.GetName()), k.GetAbout(), "/school/" + k.GetName()}
}

// title is a kind's name as a person reads it.
func title(kind string) string { return entry.Label(frame.Words("", kind)) }

type kindView struct {
	*exchangev1.ListRecordsResponse
	Title, Path, Find string
	Records           []recordLine
	Heads             []string
	From, To          int32
	Before, After     string
	MayWrite          bool
}

type recordLine struct {
	Path, Name string
	Cells      []string
}

func showKind(v *frame.Visit) error {
	name := v.Path("kind")
	if name == "policy" {
		return v.To("/school/policy")
	}
	page, _ := strconv.Atoi(v.Query("page"))
	page = min(max(page, 1), 100_000)
	find := []rune(v.Query("find"))
	got, err := exchangev1.NewExchangeServiceClient(v.Conn).ListRecords(v.Context(), &exchangev1.ListRecordsRequest{Kind: name, Find: string(find[:min(len(find), 100)]),
		Limit: pageSize, Offset: int32((page - 1) * pageSize)})
	if err != nil {
		return unknown(err)
	}
	view := kindView{ListRecordsResponse: got, Title: title(name), Path: "/school/" + name, Find: v.Query("find"), MayWrite: v.May(writes) && !slices.Contains(made, name)}
	for _, c := range got.GetKind().GetColumns() {
		view.Heads = append(view.Heads, entry.Label(c.GetName()))
	}
	for _, r := range got.GetRecords() {
		one := recordLine{Name: r.GetCells()[0], Path: view.Path + "/record?" + url.Values{"key": {r.GetKey()}}.Encode()}
		for _, c := range r.GetCells()[1:] {
			one.Cells = append(one.Cells, shorten(c))
		}
		view.Records = append(view.Records, one)
	}
	view.From, view.To = int32((page-1)*pageSize+1), int32((page-1)*pageSize+len(view.Records))
	if page > 1 {
		view.Before = view.page(page - 1)
	}
	if view.To < got.GetMatching() {
		view.After = view.page(page + 1)
	}
	return v.Show(kindPage, view)
}

func (k kindView) page(n int) string {
	q := url.Values{"page": {strconv.Itoa(n)}}
	if k.Find != "" {
		q.Set("find", k.Find)
	}
	return k.Path + "?" + q.Encode()
}

// unknown makes a page that is not there of a kind that is not there.
func unknown(err error) error {
	if t, ok := frame.Mendable(err); ok && t.Of("kind") != "" {
		return apperr.NotFoundf("KIND_UNKNOWN", "There is no such list.")
	}
	return err
}

func shorten(text string) string {
	if runes := []rune(text); len(runes) > 80 {
		return string(runes[:80]) + "…"
	}
	return text
}

// codesFound shows codes for a field, as options.
func showCodes(v *frame.Visit) error {
	find := ""
	for name, values := range v.Request.URL.Query() {
		if name != "kind" && len(values) > 0 {
			find = values[0]
		}
	}
	runes := []rune(find)
	got, err := exchangev1.NewExchangeServiceClient(v.Conn).FindCodes(v.Context(), &exchangev1.FindCodesRequest{Kind: v.Query("kind"), Find: string(runes[:min(len(runes), 100)])})
	if err != nil {
		return fmt.Errorf("find codes: %w", err)
	}
	return v.Part(recordPage, "codes", got)
}
