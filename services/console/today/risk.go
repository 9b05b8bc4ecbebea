package today

import (
	"github.com/longlead/longlead/services/console/frame"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

// riskView names the dogs that may not be ready on their graduation day. Reckoning all dogs of a site takes longer than the rest of the day's page,
// which therefore loads it afterwards; without scripts it is a page of its own.
type riskView struct {
	Site, Day, Path  string
	AtRisk           []*readinessv1.Readiness
	TooFew           int32
	Caution, Assumes string
}

func showRisk(v *frame.Visit) error {
	got, err := readinessv1.NewReadinessServiceClient(v.Conn).ListReadiness(v.Context(), &readinessv1.ListReadinessRequest{SiteCode: v.Path("site"), Day: v.Path("day")})
	if err != nil {
		return err
	}
	view := riskView{Site: v.Path("site"), Day: v.Path("day"), Path: pathOf(v.Path("site"), v.Path("day")), TooFew: got.GetTooFewData(), Caution: got.GetCaution(), Assumes: got.GetAssumes()}
	for _, x := range got.GetDogs() {
		if x.GetFlag() == readinessv1.Flag_FLAG_AT_RISK {
			view.AtRisk = append(view.AtRisk, x)
		}
	}
	if v.IsPart() {
		return v.Part(riskPage, "risk", view)
	}
	return v.Show(riskPage, view)
}

// Chance writes a share of one as percent.
func (riskView) Chance(p float64) string { return frame.Percent(100 * p) }
