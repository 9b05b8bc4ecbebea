package setup

import (
	"strconv"

	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

type policyView struct {
	Terms   []term
	Trouble *frame.Trouble
	MaySet  bool
	Faulty  bool
}

type term struct {
	*plannerv1.PolicyTerm
	Title, Value, Fault string
}

func showPolicy(v *frame.Visit) error {
	view, err := readPolicy(v)
	if err != nil {
		return err
	}
	return v.Show(policyPage, view)
}

func readPolicy(v *frame.Visit) (*policyView, error) {
	got, err := plannerv1.NewPlannerServiceClient(v.Conn).ReadPolicy(v.Context(), &plannerv1.ReadPolicyRequest{})
	view := &policyView{MaySet: v.May(policy)}
	for _, t := range got.GetTerms() {
		view.Terms = append(view.Terms, term{PolicyTerm: t, Title: title(t.GetTerm()), Value: strconv.Itoa(int(t.GetPoints()))})
	}
	return view, err
}

// setPolicy sets the terms that the form changes, all of them or none.
func setPolicy(v *frame.Visit) error {
	view, err := readPolicy(v)
	if err != nil {
		return err
	}
	req := &plannerv1.SetPolicyRequest{}
	for i := range view.Terms {
		t := &view.Terms[i]
		if name := "points." + t.GetTerm(); v.Request.PostForm.Has(name) {
			t.Value = v.Form(name)
		}
		points, err := strconv.ParseInt(t.Value, 10, 32)
		switch {
		case err != nil:
			t.Fault, view.Faulty = "Write a whole number of points, 0 for none.", true
		case int32(points) != t.GetPoints():
			req.Terms = append(req.Terms, &plannerv1.PolicyTerm{Term: t.GetTerm(), Points: int32(points)})
		}
	}
	if view.Faulty {
		return v.ShowAs(422, policyPage, view)
	}
	if len(req.GetTerms()) == 0 {
		return v.Done("/school/policy", "Nothing was changed.")
	}
	_, err = plannerv1.NewPlannerServiceClient(v.Conn).SetPolicy(v.Context(), req)
	if t, ok := frame.Mendable(err); ok {
		view.Trouble = t
		return v.ShowAs(t.Status, policyPage, view)
	}
	if err != nil {
		return err
	}
	return v.Done("/school/policy", frame.Count(len(req.GetTerms()), "preference is", "preferences are")+" changed. Drafts made from now on go by it.")
}
