package dayplan

import (
	"maps"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// skillsFor names the skills for n sessions of a dog on a day, those least practised first. Days between the last session on record and the
// day are taken to be worked in the same way, so that the days of a month that is planned ahead differ. Without skills it is nil.
func (g *Guest) skillsFor(day calendar.Date, n int) []ids.SkillID {
	if len(g.Skills) == 0 {
		return nil
	}
	count := maps.Clone(g.Practised)
	from := g.Stay.Nights.From
	if !g.Latest.IsZero() {
		from = g.Latest.AddDays(1)
	}
	for range max(0, day.Sub(from)) {
		pick(g.Skills, count, g.Case.Program.SessionsADay)
	}
	return pick(g.Skills, count, n)
}

// pick takes n times the skill that was practised least, the first on the ladder among equals, and counts it.
func pick(skills []ids.SkillID, count map[ids.SkillID]int, n int) []ids.SkillID {
	picked := make([]ids.SkillID, 0, n)
	for range n {
		least := skills[0]
		for _, s := range skills {
			if count[s] < count[least] {
				least = s
			}
		}
		count[least]++
		picked = append(picked, least)
	}
	return picked
}
