// Package people is where a manager decides who may sign in and what they may do. The page is ordered by that: each role says in a sentence what it
// opens, and below it stand those who have it. A made password is shown on the page that answers, once, and goes into no cookie and no address.
package people

import (
	"embed"
	"net/http"
	"net/url"
	"slices"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

//go:embed templates/*.html
var files embed.FS

var (
	listPage     = frame.Parse(files, "templates/people.html")
	personPage   = frame.Parse(files, "templates/person.html")
	passwordPage = frame.Parse(files, "templates/handed.html")
)

const needs = accessv1.Permission_PERMISSION_MANAGE_PEOPLE

// Section is the entry of the bar.
func Section() frame.Section {
	return frame.Section{Name: "People", Path: "/people", Needs: needs}
}

// Pages are the addresses.
func Pages() []frame.Page {
	return []frame.Page{
		{Pattern: "GET /people", Needs: needs, Serve: showList},
		{Pattern: "POST /people", Needs: needs, Serve: add},
		{Pattern: "GET /people/{login}", Needs: needs, Serve: showPerson},
		{Pattern: "POST /people/{login}", Needs: needs, Serve: change},
		{Pattern: "POST /people/{login}/password", Needs: needs, Serve: setPassword},
		{Pattern: "POST /people/{login}/out", Needs: needs, Serve: shutOut},
		{Pattern: "POST /people/{login}/in", Needs: needs, Serve: letIn},
	}
}

// role is a role with what it opens, in words.
type role struct {
	Code, Name, Opens string
}

// roles are all roles in the order of a school's work. What they open is what package rpc gives them.
var roles = []role{
	{"manager", "Operations manager", "Drafts and publishes months, sets the policy and the rules, says who may sign in, and all that the others do."},
	{"site-lead", "Site lead", "Plans a site's days, mends them when somebody is absent, moves dogs to isolation, appoints handovers, drafts months but publishes none."},
	{"office", "Office", "Enters and answers requests, appoints handovers, reads and sends letters, sees plans."},
	{"trainer", "Trainer", "Sees the day sheet and the dogs, logs sessions."},
	{"viewer", "Viewer", "Reads; changes nothing."},
}

// person is somebody as the pages show them.
type person struct {
	*peoplev1.Person
	Path      string
	Seen      string
	Out, Self bool
	// Last says that they are the only manager who may sign in.
	Last bool
}

// group is a role with those who have it.
type group struct {
	role
	People []person
}

type listView struct {
	Groups           []group
	In, Waiting, Out int
	Form             form
	Sites, Trainers  []choice
	Trouble          *frame.Trouble
}

// choice is something that can be chosen.
type choice struct{ Code, Name string }

// form is what is written about a person.
type form struct {
	Login, Name, Role, Site, Trainer string
	Keep                             bool
}

// Roles are the choices of a role, for templates.
func (form) Roles() []role { return roles }

func formOf(v *frame.Visit) form {
	return form{Login: v.Form("login"), Name: v.Form("name"), Role: v.Form("role"), Site: v.Form("site"), Trainer: v.Form("trainer"), Keep: v.Form("keep") == "yes"}
}

func showList(v *frame.Visit) error { return list(v, form{}, nil) }

// list shows the page, with a form that could not be taken as it was sent.
func list(v *frame.Visit, f form, trouble *frame.Trouble) error {
	people, err := everybody(v)
	if err != nil {
		return err
	}
	view := listView{Form: f, Trouble: trouble}
	for _, r := range roles {
		g := group{role: r}
		for _, p := range people {
			if p.GetRole() != r.Code {
				continue
			}
			switch {
			case p.Out:
				view.Out++
			default:
				view.In++
				if p.GetMustChange() {
					view.Waiting++
				}
			}
			g.People = append(g.People, p)
		}
		view.Groups = append(view.Groups, g)
	}
	if view.Sites, view.Trainers, err = choices(v); err != nil {
		return err
	}
	status := http.StatusOK
	if trouble != nil {
		status = trouble.Status
	}
	return v.ShowAs(status, listPage, view)
}

// everybody reads all people, those who may sign in first.
func everybody(v *frame.Visit) ([]person, error) {
	got, err := peoplev1.NewPeopleServiceClient(v.Conn).ListPeople(v.Context(), &peoplev1.ListPeopleRequest{})
	if err != nil {
		return nil, err
	}
	var out []person
	managers := 0
	for _, p := range got.GetPeople() {
		one := person{Person: p, Path: "/people/" + url.PathEscape(p.GetLogin()), Seen: "never", Out: p.GetDisabledAt() != nil, Self: p.GetLogin() == v.Person.Login}
		if at := p.GetSeenAt(); at != nil {
			one.Seen = ago(v.Now().Sub(at.AsTime()))
		}
		if p.GetRole() == "manager" && !one.Out {
			managers++
		}
		out = append(out, one)
	}
	for i, p := range out {
		out[i].Last = managers == 1 && p.GetRole() == "manager" && !p.Out
	}
	slices.SortStableFunc(out, func(a, b person) int {
		switch {
		case a.Out == b.Out:
			return 0
		case b.Out:
			return -1
		}
		return 1
	})
	return out, nil
}

// ago says when somebody was seen; sign-ins are noted to five minutes.
func ago(d time.Duration) string {
	switch {
	case d < 15*time.Minute:
		return "just now"
	case d < time.Hour:
		return "within the hour"
	case d < 24*time.Hour:
		return "within a day"
	}
	return frame.Count(int(d/(24*time.Hour)), "day", "days") + " ago"
}

// choices are the sites and trainers that may be somebody's.
func choices(v *frame.Visit) (sites, trainers []choice, err error) {
	places, err := facilityv1.NewFacilityServiceClient(v.Conn).ListSites(v.Context(), &facilityv1.ListSitesRequest{})
	if err != nil {
		return nil, nil, err
	}
	for _, s := range places.GetSites() {
		sites = append(sites, choice{s.GetCode(), s.GetName()})
	}
	staff, err := rosterv1.NewRosterServiceClient(v.Conn).ListTrainers(v.Context(), &rosterv1.ListTrainersRequest{})
	if err != nil {
		return nil, nil, err
	}
	for _, t := range staff.GetTrainers() {
		trainers = append(trainers, choice{t.GetCode(), t.GetName()})
	}
	return sites, trainers, nil
}

// handed is a password that is shown once.
type handed struct {
	Person   *peoplev1.Person
	Password string
}

func add(v *frame.Visit) error {
	f := formOf(v)
	got, err := peoplev1.NewPeopleServiceClient(v.Conn).AddPerson(v.Context(), &peoplev1.AddPersonRequest{Login: f.Login, Name: f.Name, Role: f.Role, SiteCode: f.Site, TrainerCode: f.Trainer})
	if t, ok := frame.Mendable(err); ok {
		return list(v, f, t)
	}
	if err != nil {
		return err
	}
	return v.Show(passwordPage, handed{got.GetPerson(), got.GetMadePassword()})
}

type personView struct {
	person
	Form            form
	Sites, Trainers []choice
	Role            role
	Trouble         *frame.Trouble
}

func showPerson(v *frame.Visit) error { return showOne(v, nil, nil) }

// showOne shows a person, with a form that could not be taken.
func showOne(v *frame.Visit, f *form, trouble *frame.Trouble) error {
	people, err := everybody(v)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(people, func(p person) bool { return p.GetLogin() == v.Path("login") })
	if i < 0 {
		return apperr.NotFoundf("PERSON_UNKNOWN", "There is nobody with this login.")
	}
	p := people[i]
	view := personView{person: p, Trouble: trouble, Form: form{Login: p.GetLogin(), Name: p.GetName(), Role: p.GetRole(), Site: p.GetSiteCode(), Trainer: p.GetTrainerCode()}}
	if f != nil {
		view.Form = *f
	}
	view.Role = roles[max(0, slices.IndexFunc(roles, func(r role) bool { return r.Code == p.GetRole() }))]
	if view.Sites, view.Trainers, err = choices(v); err != nil {
		return err
	}
	status := http.StatusOK
	if trouble != nil {
		status = trouble.Status
	}
	return v.ShowAs(status, personPage, view)
}

// after ends a step about one person: back to them, or to their page with what has to be mended.
func after(v *frame.Visit, f *form, err error, words string) error {
	if t, ok := frame.Mendable(err); ok {
		return showOne(v, f, t)
	}
	if err != nil {
		return err
	}
	return v.Done("/people/"+url.PathEscape(v.Path("login")), words)
}

func change(v *frame.Visit) error {
	f := formOf(v)
	_, err := peoplev1.NewPeopleServiceClient(v.Conn).ChangePerson(v.Context(), &peoplev1.ChangePersonRequest{Login: v.Path("login"), Name: f.Name, Role: f.Role, SiteCode: f.Site, TrainerCode: f.Trainer})
	return after(v, &f, err, "Kept. It counts from their next step on.")
}

func setPassword(v *frame.Visit) error {
	got, err := peoplev1.NewPeopleServiceClient(v.Conn).SetPassword(v.Context(), &peoplev1.SetPasswordRequest{Login: v.Path("login")})
	if err != nil {
		return after(v, nil, err, "")
	}
	return v.Show(passwordPage, handed{got.GetPerson(), got.GetMadePassword()})
}

func shutOut(v *frame.Visit) error {
	_, err := peoplev1.NewPeopleServiceClient(v.Conn).DisablePerson(v.Context(), &peoplev1.DisablePersonRequest{Login: v.Path("login")})
	return after(v, nil, err, "Shut out. Their open visits have ended.")
}

func letIn(v *frame.Visit) error {
	_, err := peoplev1.NewPeopleServiceClient(v.Conn).EnablePerson(v.Context(), &peoplev1.EnablePersonRequest{Login: v.Path("login")})
	return after(v, nil, err, "They may sign in again, with the password that they had.")
}
