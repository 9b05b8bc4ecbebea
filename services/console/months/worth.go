package months

import (
	"strconv"

	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var worthPage = parse("worth.html")

// worthView says what one more of each resource would be worth.
type worthView struct {
	Head    head
	Lines   []worthLine
	Checked int
	Check   int
	Trouble *frame.Trouble
	// MayDraft says that who looks can draft anew where the plan is out of date.
	MayDraft bool
}

// worthLine is one more of something in one week.
type worthLine struct {
	Text, Site, First, Last string
	Price                   int64
	Checked                 bool
	Found, Least, Most      int64
}

// showWorth lists what one more would be worth, and solves again with the first few where that is asked for.
func showWorth(v *frame.Visit) error {
	check, _ := strconv.ParseInt(v.Query("check"), 10, 32) // what is no number asks for none
	whole, err := readHead(v, v.Path("id"))
	if err != nil {
		return err
	}
	view := worthView{Head: headOf(whole.GetPlan()), Check: int(check), MayDraft: v.May(mayDraft)}
	reply, err := planner(v).ReadWorth(v.Context(), &plannerv1.ReadWorthRequest{PlanId: view.Head.ID, Lines: 20, Check: int32(check), Seconds: 3})
	if trouble, ok := frame.Mendable(err); ok {
		view.Trouble = trouble
		return v.ShowAs(trouble.Status, worthPage, view)
	}
	if err != nil {
		return err
	}
	for _, l := range reply.GetLines() {
		line := worthLine{
			Text: l.GetText(), Site: l.GetSiteCode(), First: l.GetFirstDay(), Last: l.GetLastDay(), Price: int64(l.GetPrice() + .5),
			Checked: l.GetChecked(), Found: l.GetGainFound(), Least: l.GetGainLeast(), Most: l.GetGainMost(),
		}
		if line.Checked {
			view.Checked++
		}
		view.Lines = append(view.Lines, line)
	}
	return v.Show(worthPage, view)
}
