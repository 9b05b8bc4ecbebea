package handovers

import (
	"fmt"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"

	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
)

type arrangeView struct {
	Site, Month, Path, Back string
	// Fresh get a time or another one, Missing none; Kept keep theirs.
	Fresh, Missing []arranged
	Kept           int
	Cost, Gap      int64
}

type arranged struct {
	*graduationv1.Arranged
	Moved bool
}

// arrange asks for times for the month of a day, or looks only.
func arrange(v *frame.Visit, preview bool) (*graduationv1.ArrangeHandoversResponse, string, error) {
	day, err := calendar.ParseDate(v.Path("day"))
	if err != nil {
		return nil, "", apperr.NotFoundf("DAY_UNKNOWN", "This is no day. Write it like 2027-03-26.")
	}
	month := day.String()[:7]
	got, err := graduationv1.NewGraduationServiceClient(v.Conn).ArrangeHandovers(v.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: v.Path("site"), Month: month, Preview: preview})
	return got, month, err
}

// previewTimes shows which graduates would get which times, and why some would have none.
func previewTimes(v *frame.Visit) error {
	got, month, err := arrange(v, true)
	if err != nil {
		return err
	}
	view := arrangeView{Site: v.Path("site"), Month: month, Back: dayPath(v.Path("site"), v.Path("day")), Kept: int(got.GetKept()), Cost: got.GetCost(), Gap: got.GetGap()}
	view.Path = view.Back + "/times"
	for _, a := range got.GetArranged() {
		switch a.GetOutcome() {
		case graduationv1.Arranged_OUTCOME_PLACED, graduationv1.Arranged_OUTCOME_MOVED:
			view.Fresh = append(view.Fresh, arranged{a, a.GetOutcome() == graduationv1.Arranged_OUTCOME_MOVED})
		case graduationv1.Arranged_OUTCOME_MISSING:
			view.Missing = append(view.Missing, arranged{Arranged: a})
		}
	}
	return v.Show(arrangePage, view)
}

func findTimes(v *frame.Visit) error {
	got, _, err := arrange(v, false)
	if err != nil {
		return err
	}
	return v.Done(dayPath(v.Path("site"), v.Path("day")), fmt.Sprintf("%s given, %d moved, %d without a time. Their owners are written to.", frame.Count(got.GetPlaced(), "time", "times"),
		got.GetMoved(), got.GetMissing()))
}
