package months

import (
	"strconv"
	"strings"

	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var comparePage = parse("compare.html")

// compareView is two plans of a month beside each other.
type compareView struct {
	First, Second                    head
	Sites                            []siteBeside
	Rows                             []difference
	Differing, FirstOnly, SecondOnly int32
	From, To                         int32
	Back, On                         string
	// Gain is what the second is worth more.
	Gain, MorePlaced int64
}

// siteBeside is a site in both plans.
type siteBeside struct {
	Code                      string
	First, Second             *plannerv1.SiteTotals
	Placed, Value             int64
	RunsFirst, RunsSecond     int64
	HoursFirst, HoursSecond   int64
	FirstPlaced, SecondPlaced int32
}

// difference is one request that the plans treat differently.
type difference struct {
	Code, Dog, What, PathFirst, PathSecond string
	First, Second                          string
	Points                                 int64
}

// comparePlans shows two plans beside each other.
func comparePlans(v *frame.Visit) error {
	from, _ := strconv.Atoi(v.Query("from")) // what is no number is the beginning
	from = min(max(from, 0), 1_000_000)
	reply, err := planner(v).ComparePlans(v.Context(), &plannerv1.ComparePlansRequest{
		PlanId: v.Path("id"), OtherPlanId: v.Path("other"), Limit: pageRows, Offset: int32(from),
	})
	if err != nil {
		return err
	}
	return v.Show(comparePage, compareOf(reply, int32(from)))
}

func compareOf(reply *plannerv1.ComparePlansResponse, from int32) compareView {
	c := compareView{First: headOf(reply.GetFirst()), Second: headOf(reply.GetSecond()), Differing: reply.GetDiffering(), FirstOnly: reply.GetFirstOnly(), SecondOnly: reply.GetSecondOnly()}
	c.Gain, c.MorePlaced = c.Second.Value-c.First.Value, int64(c.Second.Placed-c.First.Placed)
	second := map[string]*plannerv1.SiteTotals{}
	for _, t := range reply.GetSecondSites() {
		second[t.GetSiteCode()] = t
	}
	for _, a := range reply.GetFirstSites() {
		b := second[a.GetSiteCode()]
		c.Sites = append(c.Sites, siteBeside{
			Code: a.GetSiteCode(), First: a, Second: b, Placed: int64(b.GetPlaced() - a.GetPlaced()), Value: b.GetValue() - a.GetValue(),
			RunsFirst: share(a.GetRunNightsUsed(), a.GetRunNights()), RunsSecond: share(b.GetRunNightsUsed(), b.GetRunNights()),
			HoursFirst: share(a.GetTrainerMinutesUsed(), a.GetTrainerMinutes()), HoursSecond: share(b.GetTrainerMinutesUsed(), b.GetTrainerMinutes()),
			FirstPlaced: a.GetPlaced(), SecondPlaced: b.GetPlaced(),
		})
	}
	for _, d := range reply.GetDifferences() {
		c.Rows = append(c.Rows, difference{
			Code: d.GetRequestCode(), Dog: d.GetDogName(), What: strings.Join(d.GetChanges(), ", "), First: placeWords(d.GetFirst()), Second: placeWords(d.GetSecond()),
			PathFirst: path(c.First.Path+"/request", d.GetRequestCode()), PathSecond: path(c.Second.Path+"/request", d.GetRequestCode()),
			Points: d.GetSecond().GetValue() - d.GetFirst().GetValue(),
		})
	}
	self := c.First.Path + "/compare/" + c.Second.ID
	if len(c.Rows) > 0 {
		c.From, c.To = from+1, from+int32(len(c.Rows))
	}
	if from > 0 {
		c.Back = self + "?" + query("from", strconv.Itoa(int(max(0, from-pageRows))))
	}
	if c.To > 0 && c.To < c.Differing {
		c.On = self + "?" + query("from", strconv.Itoa(int(c.To)))
	}
	return c
}

// Both are the two plans.
func (c compareView) Both() []head { return []head{c.First, c.Second} }

// share is how many percent are used.
func share(used, there int64) int64 {
	if there <= 0 {
		return 0
	}
	return (100*used + there/2) / there
}

// placeWords says where a request is placed; empty when it waits.
func placeWords(p *plannerv1.Placement) string {
	if p == nil {
		return ""
	}
	return p.GetSiteCode() + ", run " + p.GetRunCode() + ", " + p.GetTrainerCode() + ", " + frame.Day(p.GetArrival())
}
