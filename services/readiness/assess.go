package readiness

import (
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"

	"github.com/longlead/longlead/services/training"
	"github.com/longlead/longlead/services/workload"
)

// assessAll reckons all guests, on every core. It stops when cancelled says so.
func (in *inputs) assessAll(cancelled func() error) ([]Report, error) {
	reports, failures := make([]Report, len(in.guests)), make([]error, len(in.guests))
	var next atomic.Int64
	var all sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(in.guests)) {
		all.Go(func() {
			for cancelled() == nil {
				i := int(next.Add(1)) - 1
				if i >= len(in.guests) {
					return
				}
				reports[i], failures[i] = in.assess(in.guests[i])
			}
		})
	}
	all.Wait()
	for _, err := range failures {
		if err != nil {
			return nil, err
		}
	}
	return reports, cancelled()
}

// assess reckons one guest.
func (in *inputs) assess(g guest) (Report, error) {
	plan, err := in.planOf(g)
	if err != nil {
		return Report{}, fmt.Errorf("count the sessions of request %s: %w", g.Case.Request.Code, err)
	}
	skills, records := skillsOf(g, in.skills)
	r := Report{Guest: g, DaysLeft: plan.days, SessionsLeft: plan.days*g.Case.Program.SessionsADay + plan.other, Sessions: len(g.Sessions), Skills: skills}
	if len(records) == 0 {
		r.Flag = NoTargets
		r.Reasons = []string{fmt.Sprintf("program %s asks for no skill, so there is nothing to reckon: its targets are records to import", g.Case.Program.Code)}
		return r, nil
	}
	pace, set := in.paces[g.Case.Program.ID]
	r.PaceSet = set
	r.Outlook, err = workload.LookAhead(workload.Course{Skills: records, BreedTier: g.Case.Dog.BreedTier, Pace: pace.Pace, DaysLeft: plan.days,
		SessionsPerDay: g.Case.Program.SessionsADay, OtherSessions: plan.other, WithoutProposals: !in.proposals})
	if err != nil {
		return Report{}, fmt.Errorf("reckon request %s: %w", g.Case.Request.Code, err)
	}
	for i := range records {
		r.Skills[i].Outlook = &r.Outlook.Skills[i]
	}
	r.Flag, r.Reasons, r.Warnings = r.Outlook.Flag, r.Outlook.Reasons, r.Outlook.Warnings
	r.addLevels()
	r.addPlan(in, plan)
	for _, p := range r.Outlook.Proposals {
		q := Proposal{Proposal: p}
		if p.Kind == workload.LongerStay {
			q.Graduation = in.graduation(g, p.ExtraDays)
		}
		r.Proposals = append(r.Proposals, q)
	}
	r.Minutes, err = minutesOf(g, r.Outlook.Observed)
	return r, err
}

// addLevels says where a skill was seldom tried as hard as the target has it. Easier trials do not show that, so the dog is then not
// on course, whatever the chance.
func (r *Report) addLevels() {
	for _, s := range r.Skills {
		if !asksLevel(s.Target) || s.LevelTrials >= workload.FewSessions || s.Trials == 0 {
			continue
		}
		text := fmt.Sprintf("%s: %d of %d trials were %s; the chance counts easier trials too, so it is likely too high", s.Skill.Code, s.LevelTrials, s.Trials, levelWords(s.Target))
		r.Warnings = append(r.Warnings, text)
		if r.Flag == workload.OnCourse {
			r.Flag = workload.TooFewData
		}
		if r.Flag == workload.TooFewData {
			r.Reasons = append(r.Reasons, text)
		}
	}
}

// levelWords says in words at what distance and distraction a target is to be met.
func levelWords(t *training.Target) string {
	words := ""
	if t.DistanceCM > 0 {
		words = fmt.Sprintf("at %.1f m or farther", float64(t.DistanceCM)/100)
	}
	if t.Distraction > 0 {
		if words != "" {
			words += " and "
		}
		words += fmt.Sprintf("in a place as %s as asked", training.DistractionNames[t.Distraction])
	}
	return words
}

// addPlan warns where the sessions that were planned are not in the logs, and where the day lies ahead.
func (r *Report) addPlan(in *inputs, p plan) {
	if i := r.Guest.isolatedOn(in.day); i != nil {
		r.Warnings = append(r.Warnings, fmt.Sprintf("it is isolated until %s and has no sessions until then; when it may work again, a veterinarian says", i.To))
	}
	if p.planned >= leastPlanned && 100*p.held < heldPercent*p.planned {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%d sessions are logged where program and roster planned %d: the chance takes it that from now on all are held", p.held, p.planned))
	}
	if p.from.Before(in.day) {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%s lies ahead: the sessions from %s on that are not logged are taken to be held as planned", in.day, p.from))
	}
}

// minutesOf holds the handling minutes as they are planned against those that the dog's own pace suggests. A person's word on the
// minutes stands, so then there is nothing to suggest.
func minutesOf(g guest, observed workload.Observed) (*Minutes, error) {
	if observed.Sessions < leastObserved || g.Case.Override != nil && g.Case.Override.Minutes > 0 {
		return nil, nil
	}
	now, err := g.Case.Need(g.Stay.Nights.From)
	if err != nil {
		return nil, err
	}
	then, err := g.Case.NeedObserved(g.Stay.Nights.From, observed)
	if err != nil {
		return nil, err
	}
	change := then.Minutes - now.Minutes
	if max(change, -change) < leastChange {
		return nil, nil
	}
	m := &Minutes{Now: now.Minutes, Suggested: then.Minutes, Factor: workload.PaceFactor(observed, g.Case.Dog.BreedTier), Sessions: observed.Sessions}
	m.Text = fmt.Sprintf("its pace over %d scored sessions suggests %d handling minutes a working day instead of %d; nothing is changed until a person gives a workload override of the dog",
		m.Sessions, m.Suggested, m.Now)
	if g.Case.Override != nil && g.Case.Override.Care != "" {
		m.Care = g.Case.Override.Care
		m.Text += fmt.Sprintf(", which should repeat the care class %s of the one that stands", g.Case.Override.Care)
	}
	return m, nil
}
