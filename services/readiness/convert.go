package readiness

import (
	"math"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/workload"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

var flags = map[workload.Flag]readinessv1.Flag{
	workload.AtRisk: readinessv1.Flag_FLAG_AT_RISK, workload.TooFewData: readinessv1.Flag_FLAG_TOO_FEW_DATA,
	NoTargets: readinessv1.Flag_FLAG_NO_TARGETS, workload.OnCourse: readinessv1.Flag_FLAG_ON_COURSE,
}

var kinds = map[workload.ProposalKind]readinessv1.Proposal_Kind{
	workload.MoreSessions: readinessv1.Proposal_KIND_MORE_SESSIONS, workload.LongerStay: readinessv1.Proposal_KIND_LONGER_STAY,
	workload.SmallerGoal: readinessv1.Proposal_KIND_SMALLER_GOAL,
}

func chanceToProto(c workload.Chance) *readinessv1.Chance {
	return &readinessv1.Chance{Mean: c.Mean, Low: c.Low, High: c.High}
}

func trialsToProto(trials, successes int) *readinessv1.Trials {
	low, high := workload.Wilson(successes, trials, workload.Z95)
	return &readinessv1.Trials{Trials: int32(trials), Successes: int32(successes),
		LowPercent: int32(math.Floor(100 * low)), HighPercent: int32(math.Ceil(100 * high))}
}

func skillToProto(s *Skill) *readinessv1.Skill {
	out := &readinessv1.Skill{Code: s.Skill.Code, Name: s.Skill.Name, Sessions: int32(s.Sessions), All: trialsToProto(s.Trials, s.Successes),
		LongestHoldSeconds: int32(s.LongestHold), DistanceCm: int32(s.DistanceCM)}
	if s.Passed {
		level := int32(s.Distraction)
		out.Distraction = &level
	}
	if s.Target == nil {
		return out
	}
	out.Target = &readinessv1.Target{TrialsPercent: int32(s.Target.TrialsPercent), HoldSeconds: int32(s.Target.HoldSeconds),
		DistanceCm: int32(s.Target.DistanceCM), Distraction: int32(s.Target.Distraction)}
	if asksLevel(s.Target) {
		out.AtLevel = trialsToProto(s.LevelTrials, s.LevelSuccesses)
	}
	o := s.Outlook
	out.HoldPercent, out.Further = int32(o.HoldPercent), int32(o.Further)
	out.Curve = &readinessv1.Curve{Start: o.Curve.Start, Theta: o.Curve.Theta, StartError: o.Curve.StartError, ThetaError: o.Curve.ThetaError, Standing: o.Curve.Standing}
	out.Rate, out.Share, out.Hold, out.Both = chanceToProto(o.Rate), chanceToProto(o.Share), chanceToProto(o.Hold), chanceToProto(o.Both)
	return out
}

func proposalToProto(p *Proposal) *readinessv1.Proposal {
	out := &readinessv1.Proposal{Kind: kinds[p.Kind], SessionsADay: int32(p.SessionsPerDay), ExtraDays: int32(p.ExtraDays), Chance: p.Chance, Enough: p.Enough, Text: p.Text}
	if !p.Graduation.IsZero() {
		out.Graduation = p.Graduation.String()
	}
	for _, g := range p.Goals {
		out.Goals = append(out.Goals, &readinessv1.Goal{SkillCode: g.Skill, From: g.From.String(), To: g.To.String(),
			TrialsPercent: int32(g.To.Percent), HoldSeconds: int32(g.To.HoldSeconds)})
	}
	return out
}

func reportToProto(r *Report) *readinessv1.Readiness {
	g := r.Guest
	out := &readinessv1.Readiness{DogCode: g.Case.Dog.Code, DogName: g.Case.Dog.Name, RequestCode: g.Case.Request.Code, ProgramCode: g.Case.Program.Code,
		SiteCode: g.Site, TrainerCode: g.Trainer, Arrival: g.Stay.Nights.From.String(), Graduation: g.Stay.Nights.To.String(), Flag: flags[r.Flag],
		DaysLeft: int32(r.DaysLeft), SessionsLeft: int32(r.SessionsLeft), Sessions: int32(r.Sessions), Reasons: r.Reasons, Warnings: r.Warnings, PaceSet: r.PaceSet}
	if r.Flag != NoTargets {
		out.All, out.AtMost = chanceToProto(r.Outlook.All), r.Outlook.AtMost
	}
	for i := range r.Skills {
		out.Skills = append(out.Skills, skillToProto(&r.Skills[i]))
		if r.Skills[i].Target != nil {
			out.Targets++
			out.TargetsExpected += r.Skills[i].Outlook.Both.Mean
		}
	}
	for i := range r.Proposals {
		out.Proposals = append(out.Proposals, proposalToProto(&r.Proposals[i]))
	}
	if m := r.Minutes; m != nil {
		out.Minutes = &readinessv1.Minutes{Now: int32(m.Now), Suggested: int32(m.Suggested), Factor: m.Factor, Sessions: int32(m.Sessions), Text: m.Text, CareClass: string(m.Care)}
	}
	return out
}

func listToProto(reports []Report) *readinessv1.ListReadinessResponse {
	out := &readinessv1.ListReadinessResponse{Caution: workload.OutlookCaution, Assumes: workload.OutlookAssumes}
	count := map[workload.Flag]*int32{workload.AtRisk: &out.AtRisk, workload.TooFewData: &out.TooFewData, NoTargets: &out.NoTargets, workload.OnCourse: &out.OnCourse}
	for i := range reports {
		*count[reports[i].Flag]++
		out.Dogs = append(out.Dogs, reportToProto(&reports[i]))
	}
	return out
}

func paceToProto(p workload.Pace) *readinessv1.Pace {
	return &readinessv1.Pace{Start: p.Start, StartSpread: p.StartSpread, Theta: p.Theta, ThetaSpread: p.ThetaSpread,
		HoldStart: p.HoldStart, HoldStartSpread: p.HoldStartSpread, HoldGrowth: p.HoldGrowth, HoldGrowthSpread: p.HoldGrowthSpread}
}

// paceFromProto takes values that are 0 from the default.
func paceFromProto(p *readinessv1.Pace) workload.Pace {
	pace := workload.DefaultPace()
	for _, f := range []struct {
		to   *float64
		from float64
	}{{&pace.Start, p.GetStart()}, {&pace.StartSpread, p.GetStartSpread()}, {&pace.Theta, p.GetTheta()}, {&pace.ThetaSpread, p.GetThetaSpread()},
		{&pace.HoldStart, p.GetHoldStart()}, {&pace.HoldStartSpread, p.GetHoldStartSpread()}, {&pace.HoldGrowth, p.GetHoldGrowth()}, {&pace.HoldGrowthSpread, p.GetHoldGrowthSpread()}} {
		if f.from != 0 {
			*f.to = f.from
		}
	}
	return pace
}

func paceInUseToProto(p Pace) *readinessv1.PaceInUse {
	out := &readinessv1.PaceInUse{Pace: paceToProto(p.Pace), SetBy: p.SetBy, Note: p.Note}
	if !p.SetAt.IsZero() {
		out.SetAt = timestamppb.New(p.SetAt)
	}
	return out
}
