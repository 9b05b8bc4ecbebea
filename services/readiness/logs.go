package readiness

import (
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/training"
	"github.com/longlead/longlead/services/workload"
)

// counts reports whether a session that nothing replaces says anything about the dog: a correction with 0 trials takes back a session
// that never was, whatever else it says.
func counts(s training.Session) bool {
	return s.Trials > 0 || s.HoldSeconds > 0 && s.Replaces.IsZero()
}

// Tally sums up the sessions of a skill.
type Tally struct {
	Sessions int
	// Trials, of which Successes were passed.
	Trials, Successes int
	// LevelTrials are those of sessions at the distance and distraction of the target, or harder, of which LevelSuccesses were passed.
	// Both are 0 where the target asks for neither.
	LevelTrials, LevelSuccesses int
	// LongestHold in seconds.
	LongestHold int
	// Passed says that at least one trial was passed; then DistanceCM and Distraction are the most at which one was.
	Passed                  bool
	DistanceCM, Distraction int
}

// asksLevel reports whether a target asks for a distance or for distraction.
func asksLevel(t *training.Target) bool {
	return t != nil && (t.DistanceCM > 0 || t.Distraction > 0)
}

func (y *Tally) add(s training.Session, target *training.Target) {
	y.Sessions++
	y.Trials += s.Trials
	y.Successes += s.Successes
	y.LongestHold = max(y.LongestHold, s.HoldSeconds)
	if s.Successes > 0 {
		y.Passed = true
		y.DistanceCM, y.Distraction = max(y.DistanceCM, s.DistanceCM), max(y.Distraction, s.Distraction)
	}
	if asksLevel(target) && s.DistanceCM >= target.DistanceCM && s.Distraction >= target.Distraction {
		y.LevelTrials += s.Trials
		y.LevelSuccesses += s.Successes
	}
}

// skillsOf counts the sessions of a guest skill by skill, and returns them as workload has them too: numbered within their skill. The
// skills that are asked for come first, by rung.
func skillsOf(g guest, ladder []training.Skill) ([]Skill, []workload.SkillRecord) {
	known := make(map[ids.SkillID]training.Skill, len(ladder))
	for _, s := range ladder {
		known[s.ID] = s
	}
	at := make(map[ids.SkillID]int, len(g.Targets))
	skills := make([]Skill, 0, len(g.Targets))
	records := make([]workload.SkillRecord, 0, len(g.Targets))
	for i := range g.Targets {
		t := &g.Targets[i]
		at[t.SkillID] = len(skills)
		skills = append(skills, Skill{Skill: known[t.SkillID], Target: t})
		records = append(records, workload.SkillRecord{Name: known[t.SkillID].Code, Target: workload.Target{Percent: t.TrialsPercent, HoldSeconds: t.HoldSeconds}})
	}
	others := map[ids.SkillID]*Tally{}
	for _, s := range g.Sessions {
		i, asked := at[s.SkillID]
		if !asked {
			if others[s.SkillID] == nil {
				others[s.SkillID] = &Tally{}
			}
			others[s.SkillID].add(s, nil)
			continue
		}
		skills[i].add(s, skills[i].Target)
		records[i].Sessions = append(records[i].Sessions, workload.Session{Number: skills[i].Sessions, Trials: s.Trials, Successes: s.Successes, HoldSeconds: s.HoldSeconds})
	}
	for _, s := range ladder {
		if t := others[s.ID]; t != nil {
			skills = append(skills, Skill{Skill: s, Tally: *t})
		}
	}
	return skills, records
}
