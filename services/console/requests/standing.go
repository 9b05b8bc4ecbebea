package requests

import (
	"fmt"
	"net/url"
	"strings"

	"github.com/longlead/longlead/services/console/frame"

	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// standing is how a request stands, as it is shown and as it can be told to an owner.
type standing struct {
	// Mark is the class of the mark, Word what stands in it.
	Mark, Word string
	// Text says it in a sentence; Remedy what would help, may be empty.
	Text, Remedy string
	// Plan is the address of the plan that says so; may be empty.
	Plan string
	// Promised says that there is a stay.
	Promised bool
}

// standingOf puts a request and what the planner knows of it into words. s may be nil.
func standingOf(r *enrollmentv1.Request, s *plannerv1.Standing) standing {
	stay := s.GetStay()
	live := stay != nil && stay.GetState() != "cancelled"
	switch {
	case live:
		return standing{Mark: "promised", Word: stayWord(stay.GetState()), Promised: true,
			Text: fmt.Sprintf("At %s from %s, home on %s; run %s, trainer %s.", stay.GetSiteCode(), frame.Day(stay.GetArrival()), frame.Day(stay.GetGraduation()), stay.GetRunCode(), stay.GetTrainerCode())}
	case r.GetState() == "withdrawn":
		return standing{Mark: "ended", Word: "withdrawn", Text: "It is off the list: no plan looks at it."}
	}
	out := standing{Mark: "waiting", Word: "waiting"}
	if s.GetPlanId() != "" {
		out.Plan = "/plan/" + s.GetPlanId() + "/request/" + url.PathEscape(r.GetCode())
	}
	plan := fmt.Sprintf("plan %d of %s", s.GetNumber(), frame.MonthName(s.GetMonth()))
	switch {
	case s.GetPlanId() == "":
		out.Text = fmt.Sprintf("No month plan has looked at it yet. Its first possible day is %s.", frame.Day(r.GetWindowFirst()))
	case s.GetPlaced() && s.GetPlanState() == plannerv1.PlanState_PLAN_STATE_DRAFT:
		out.Mark, out.Word = "proposed", "in a draft"
		out.Text = fmt.Sprintf("For %s to be published: it has a place at %s from %s. Nothing is promised before.", plan, s.GetSiteCode(), frame.Day(s.GetArrival()))
	case s.GetPlaced():
		out.Text = fmt.Sprintf("For a new plan: the place that %s had for it was taken back.", plan)
	default:
		out.Text, out.Remedy = sentence(s.GetReason()), sentence(s.GetRemedy())
	}
	if stay != nil && !s.GetPlaced() {
		out.Text = fmt.Sprintf("Its stay at %s from %s was cancelled. ", stay.GetSiteCode(), frame.Day(stay.GetArrival())) + out.Text
	}
	return out
}

func stayWord(state string) string {
	switch state {
	case "published":
		return "promised"
	case "in residence":
		return "here"
	}
	return state
}

// sentence gives a text a capital letter and a full stop.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	runes := []rune(text)
	text = strings.ToUpper(string(runes[:1])) + string(runes[1:])
	if last := text[len(text)-1]; last != '.' && last != '!' && last != '?' {
		text += "."
	}
	return text
}
