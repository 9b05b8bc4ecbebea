package requests

import (
	"crypto/rand"
	"slices"
	"strings"
	"unicode"

	"github.com/longlead/longlead/services/console/entry"
	"github.com/longlead/longlead/services/console/frame"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
)

// asked are the columns of each kind that the page asks for, in the order of a talk on the telephone. The others can be filled in later.
var asked = []struct {
	kind, row string
	columns   []string
}{
	{"requests", "request", []string{"program", "window_first", "window_last", "wished", "priority", "deposit", "household", "note"}},
	{"owners", "owner", []string{"name", "phone", "email"}},
	{"dogs", "dog", []string{"name", "breed", "breed_tier", "hound", "sex", "born", "weight_kg", "length_mm", "height_mm", "bite_level", "two_people", "note"}},
}

// siteField is a site with the travel to it.
type siteField struct {
	Code, Name, Travel, Fault string
}

type newView struct {
	Known                    entry.Field
	Dog                      entry.Field
	Owner, DogFields, Wish   []entry.Field
	Sites                    []siteField
	Others                   []string
	Trouble                  *frame.Trouble
	OwnerCode, DogCode, Code string
	Faulty                   bool
}

func showNew(v *frame.Visit) error {
	view, err := readNew(v)
	if err != nil {
		return err
	}
	return v.Show(newPage, view)
}

// readNew makes the form, with what was typed so far.
func readNew(v *frame.Visit) (*newView, error) {
	view := &newView{OwnerCode: v.Form("owner.code"), DogCode: v.Form("dog.code"), Code: v.Form("request.code")}
	files := exchangev1.NewExchangeServiceClient(v.Conn)
	for _, part := range asked {
		got, err := files.ReadRecord(v.Context(), &exchangev1.ReadRecordRequest{Kind: part.kind})
		if err != nil {
			return nil, err
		}
		fields := make([]entry.Field, 0, len(part.columns))
		for _, name := range part.columns {
			i := slices.IndexFunc(got.GetKind().GetColumns(), func(c *exchangev1.Column) bool { return c.GetName() == name })
			f := entry.OfColumn(part.row+"."+name, got.GetKind().GetColumns()[i], v.Form(part.row+"."+name), codesOf(got, name))
			if part.kind != "requests" {
				f.Required, f.Needed = false, f.Required // somebody known needs none of it; what a new one needs, the rules say
			}
			fields = append(fields, f)
		}
		switch part.kind {
		case "requests":
			view.Wish = fields
			view.Dog = entry.OfColumn("known_dog", &exchangev1.Column{Name: "dog_that_is_known", About: "code of a dog that was here or asked before; its owner goes with it", Refers: "dogs", Longest: 40},
				v.Form("known_dog"), codesOf(got, "dog"))
		case "owners":
			view.Owner = fields
		case "dogs":
			view.DogFields = fields
			view.Known = entry.OfColumn("known_owner", &exchangev1.Column{Name: "owner_who_is_known", About: "code of an owner with another dog", Refers: "owners", Longest: 40},
				v.Form("known_owner"), codesOf(got, "owner"))
		}
	}
	sites, err := facilityv1.NewFacilityServiceClient(v.Conn).ListSites(v.Context(), &facilityv1.ListSitesRequest{})
	for _, s := range sites.GetSites() {
		view.Sites = append(view.Sites, siteField{Code: s.GetCode(), Name: s.GetName(), Travel: v.Form("travel." + s.GetCode())})
	}
	view.fillUsual()
	return view, err
}

// fillUsual puts in what most requests have.
func (n *newView) fillUsual() {
	usual := map[string]string{"request.priority": "3", "request.deposit": "no", "dog.breed_tier": "0", "dog.hound": "no"}
	for _, fields := range [][]entry.Field{n.Wish, n.DogFields} {
		for i := range fields {
			if fields[i].Value == "" {
				fields[i].Value = usual[fields[i].Name]
			}
		}
	}
}

// enter takes owner, dog, request and sites in one step: all of them or none.
func enter(v *frame.Visit) error {
	c := codes{owner: v.Form("known_owner"), dog: v.Form("known_dog"), request: codeOr(v.Form("request.code"), "R-"+v.Now().UTC().Format("0601"))}
	faults := entry.Faults{}
	rows := c.rows(v, faults)
	var err error
	if len(faults) == 0 {
		if err = c.refuseTaken(v, faults); err == nil && len(faults) == 0 {
			faults, err = entry.Take(v, rows...)
		}
	}
	if len(faults) == 0 && err == nil {
		return v.Done(pathOf(c.request), "Taken down. It waits from today on.")
	}
	t, ok := frame.Mendable(err)
	if err != nil && !ok {
		return err
	}
	view, err := readNew(v)
	if err != nil {
		return err
	}
	view.Trouble = t
	view.OwnerCode, view.DogCode, view.Code = c.newOwner, c.newDog, c.request
	view.point(faults)
	return v.ShowAs(shownAgain, newPage, view)
}

// point puts faults at their fields.
func (n *newView) point(faults entry.Faults) {
	var shown []string
	single := []*entry.Field{&n.Known, &n.Dog}
	for _, fields := range [][]entry.Field{n.Owner, n.DogFields, n.Wish} {
		for i := range fields {
			single = append(single, &fields[i])
		}
	}
	for _, f := range single {
		f.Fault = faults[f.Name]
		shown = append(shown, f.Name)
	}
	for i := range n.Sites {
		at := "site " + n.Sites[i].Code + ".travel_minutes"
		n.Sites[i].Fault = faults[at]
		shown = append(shown, at)
	}
	n.Others, n.Faulty = faults.Any(shown...), len(faults) > 0
}

// codes are those of a request that is being taken down; the new ones are empty for who is known.
type codes struct {
	owner, dog, request string
	newOwner, newDog    string
}

func (c *codes) rows(v *frame.Visit, faults entry.Faults) (rows []entry.Row) {
	if c.dog == "" {
		if c.owner == "" {
			c.newOwner = codeOr(v.Form("owner.code"), stem(v.Form("owner.name")))
			c.owner = c.newOwner
			rows = append(rows, formRow(v, 1, []string{"code"}, []string{c.owner}))
		}
		c.newDog = codeOr(v.Form("dog.code"), stem(v.Form("dog.name")))
		c.dog = c.newDog
		rows = append(rows, formRow(v, 2, []string{"code", "owner"}, []string{c.dog, c.owner}))
	}
	today := v.Now().UTC().Format("2006-01-02")
	rows = append(rows, formRow(v, 0, []string{"code", "dog", "state", "asked_on"}, []string{c.request, c.dog, "open", today}))
	n := len(rows)
	for name := range v.Request.PostForm {
		if site, ok := strings.CutPrefix(name, "travel."); ok && v.Form(name) != "" {
			rows = append(rows, entry.Row{Name: "site " + site, Kind: "request-sites", Columns: []string{"request", "site", "travel_minutes"}, Cells: []string{c.request, site, v.Form(name)}})
		}
	}
	if len(rows) == n {
		faults["sites."] = "No site is named: write beside each site that suits the owner how far it is from their home."
	}
	return rows
}

// formRow takes one part of the form.
func formRow(v *frame.Visit, part int, columns, cells []string) entry.Row {
	p := asked[part]
	row := entry.Row{Name: p.row, Kind: p.kind, Columns: columns, Cells: cells}
	for _, name := range p.columns {
		row.Columns, row.Cells = append(row.Columns, name), append(row.Cells, v.Form(p.row+"."+name))
	}
	return row
}

// refuseTaken keeps new records from taking the place of others: an import with a known code changes the record that has it.
func (c *codes) refuseTaken(v *frame.Visit, faults entry.Faults) error {
	files := exchangev1.NewExchangeServiceClient(v.Conn)
	for _, one := range []struct{ kind, code, at string }{{"owners", c.newOwner, "owner."}, {"dogs", c.newDog, "dog."}, {"requests", c.request, "request."}} {
		if one.code == "" {
			continue
		}
		got, err := files.FindCodes(v.Context(), &exchangev1.FindCodesRequest{Kind: one.kind, Find: one.code})
		if err != nil {
			return err
		}
		if slices.Contains(got.GetCodes(), one.code) {
			faults[one.at] = "The code " + one.code + " is taken already among the " + one.kind + ": if it is the same, look for it above; else write another code."
		}
	}
	return nil
}

// codeOr returns the code that was typed, or makes one from a stem and four random letters.
func codeOr(typed, stem string) string {
	if typed != "" {
		return typed
	}
	return stem + "-" + rand.Text()[:4]
}

// stem is the last word of a name in capital letters, at most 12 of them, for a code that people recognise.
func stem(name string) string {
	words := strings.Fields(name)
	if len(words) == 0 {
		return "X"
	}
	letters := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, words[len(words)-1])
	if letters == "" {
		return "X"
	}
	return cut(letters, 12)
}
