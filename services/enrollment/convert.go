package enrollment

import (
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/workload"

	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
)

// Limits of a person's word, as the table has them.
const (
	mostMinutes = 480
	leastReason = 3
	mostReason  = 500
)

// checkWord finds what is wrong with a person's word. The gRPC layer checks it as well; this check also stands without it.
func checkWord(o Override) error {
	switch {
	case o.Minutes < 0 || o.Minutes > mostMinutes:
		return apperr.InvalidField("minutes_a_day", "must be 0 to 480", "0 leaves what was worked out")
	case o.Care != "" && !o.Care.IsValid():
		return apperr.InvalidField("care_class", "must be open, guarded or restricted", "leave it empty to keep what was worked out")
	case len([]rune(strings.TrimSpace(o.Reason))) < leastReason:
		return apperr.InvalidField("reason", "must be given in words", "say why; it is kept for good")
	case len([]rune(o.Reason)) > mostReason:
		return apperr.InvalidField("reason", "must have at most 500 characters", "shorten it")
	}
	return nil
}

func requestToProto(r requestLine, sites map[ids.SiteID]SiteRules) *enrollmentv1.Request {
	out := &enrollmentv1.Request{
		Id: r.ID.String(), Code: r.Code, DogCode: r.DogCode, DogName: r.DogName, ProgramCode: r.ProgramCode, Nights: int32(r.Nights),
		WindowFirst: r.Window.From.String(), WindowLast: r.Window.To.AddDays(-1).String(), Wished: r.Wished.String(),
		Priority: int32(r.Priority), Deposit: r.Deposit, AskedOn: r.AskedOn.String(), Household: r.Household, State: r.State,
	}
	for _, choice := range choicesByCode(r.Sites, sites) {
		out.Sites = append(out.Sites, &enrollmentv1.SiteChoice{SiteCode: sites[choice.SiteID].Code, TravelMinutes: int32(choice.TravelMinutes)})
	}
	return out
}

func workloadToProto(need workload.Need, c Case) *enrollmentv1.Workload {
	out := &enrollmentv1.Workload{
		MinutesADay: int32(need.Minutes), CoverMinutes: int32(need.CoverMinutes), CareClass: string(need.Care),
		Skills: make(map[string]int32, len(need.Skills)), Cautions: append(c.cautions(), need.Cautions...),
	}
	for skill, level := range need.Skills {
		out.Skills[string(skill)] = int32(level)
	}
	for _, r := range need.Reasons {
		out.Reasons = append(out.Reasons, &enrollmentv1.Reason{Factor: r.Factor, Effect: r.EffectText(), Text: r.Text, Source: r.Source})
	}
	if c.Override != nil && !c.Override.lifts() {
		out.OverrideReason = c.Override.Reason
	}
	return out
}

// findingsToProto holds the dog's shots against the rules of each site that the owner accepts, for the earliest stay. Rules that
// cannot be checked are a finding too: the request is still worth reading.
func findingsToProto(c Case, sites map[ids.SiteID]SiteRules) []*enrollmentv1.VaccineFinding {
	stay := c.Stay(c.Request.Window.From)
	var out []*enrollmentv1.VaccineFinding
	for _, choice := range choicesByCode(c.Request.Sites, sites) {
		site := sites[choice.SiteID]
		rules, err := RulesFor(site)
		if err != nil {
			out = append(out, &enrollmentv1.VaccineFinding{SiteCode: site.Code, Fault: err.Error(),
				Remedy: "correct the site's record; until then ask a person who knows its rules"})
			continue
		}
		for _, f := range CheckVaccines(c.Shots, rules, stay.From, stay.To) {
			out = append(out, &enrollmentv1.VaccineFinding{SiteCode: site.Code, Vaccine: f.Vaccine, Fault: f.Text, Remedy: f.Remedy})
		}
	}
	return out
}
