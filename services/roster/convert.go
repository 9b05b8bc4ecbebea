package roster

import (
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"

	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

var absenceKinds = map[rosterv1.AbsenceKind]string{
	rosterv1.AbsenceKind_ABSENCE_KIND_LEAVE:    "leave",
	rosterv1.AbsenceKind_ABSENCE_KIND_SICKNESS: "sickness",
	rosterv1.AbsenceKind_ABSENCE_KIND_DUTY:     "duty",
}

func absenceKindFromProto(kind rosterv1.AbsenceKind) (string, error) {
	word, ok := absenceKinds[kind]
	if !ok {
		return "", apperr.InvalidField("kind", "must say why the trainer is away", "name leave, sickness or duty")
	}
	return word, nil
}

func trainersToProto(trainers []Trainer, sites siteIndex) *rosterv1.ListTrainersResponse {
	out := &rosterv1.ListTrainersResponse{}
	for _, t := range trainers {
		skills := make(map[string]int32, len(t.Skills))
		for skill, level := range t.Skills {
			skills[skill] = int32(level)
		}
		out.Trainers = append(out.Trainers, &rosterv1.Trainer{
			Id: t.ID.String(), Code: t.Code, Name: t.Name, HomeSiteCode: sites[t.HomeSiteID].Code,
			MinutesADay: int32(t.MinutesADay), MostDogs: int32(t.MostDogs), Skills: skills, CareClasses: t.CareClasses,
		})
	}
	return out
}

func daysToProto(days []TrainerDay, trainers []Trainer, sites siteIndex) *rosterv1.ListTrainerDaysResponse {
	code := codesOf(trainers)
	out := &rosterv1.ListTrainerDaysResponse{}
	for _, d := range days {
		out.Days = append(out.Days, &rosterv1.TrainerDay{
			TrainerCode: code[d.TrainerID], Day: d.Day.String(), SiteCode: sites[d.SiteID].Code,
			Minutes: int32(d.Minutes), Dogs: int32(d.Dogs),
		})
	}
	return out
}

func findingsToProto(findings []WorkFinding) *rosterv1.CheckWorkRulesResponse {
	out := &rosterv1.CheckWorkRulesResponse{Caution: WorkRulesCaution}
	for _, f := range findings {
		out.Findings = append(out.Findings, &rosterv1.WorkRuleFinding{
			TrainerCode: f.Trainer, Day: f.Day.String(), Rule: f.Rule, Measured: f.Measured, Required: f.Required,
			Citation: f.Citation, Remedy: f.Remedy,
		})
	}
	return out
}

// codesOf maps the ID of each trainer to its code.
func codesOf(trainers []Trainer) map[ids.TrainerID]string {
	code := make(map[ids.TrainerID]string, len(trainers))
	for _, t := range trainers {
		code[t.ID] = t.Code
	}
	return code
}
