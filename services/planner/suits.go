package planner

import (
	"fmt"
	"slices"

	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/workload"
)

// Suits reports whether a trainer may work with a dog by the hard rules about people, care class and skill levels, and if not,
// what is lacking. It says nothing of time.
func Suits(t roster.Trainer, need workload.Need) (ok bool, lacking string) {
	if !slices.Contains(t.CareClasses, string(need.Care)) {
		return false, fmt.Sprintf("care class %s", need.Care)
	}
	if skill := lacksSkill(t.Skills, need.Skills); skill != "" {
		return false, fmt.Sprintf("%s %d", skill, need.Skills[workload.Skill(skill)])
	}
	return true, ""
}
