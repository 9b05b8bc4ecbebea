package graduation

import (
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/slots"
)

// explain says for each dog without a time why, and which changes would help; each of those was tried.
func (t *dayTask) explain(plan *slots.Plan, arranged []Arranged) error {
	for _, m := range plan.Missing {
		remedies, err := slots.Remedies(&t.p, plan, m.Visit)
		if err != nil {
			return fmt.Errorf("find what would give a handover a time: %w", err)
		}
		var words []string
		for _, r := range remedies {
			words = append(words, t.remedyWords(m.Visit, r))
		}
		at := slices.IndexFunc(arranged, func(x Arranged) bool { return x.Stay.ID == t.stays[m.Visit].ID })
		arranged[at].Reason = t.reasonWords(m)
		arranged[at].Remedy = strings.Join(words, ", or ")
		if len(words) == 0 {
			arranged[at].Remedy = "no single change that was tried: another graduation day, by `longlead mend extend`"
		}
	}
	return nil
}

// reasonWords says why a visit has no slot.
func (t *dayTask) reasonWords(m slots.Missing) string {
	why := m.Reason.String()
	switch {
	case m.Reason == slots.NoPlace:
		why = fmt.Sprintf("the handover places of %s on %s are given away", t.in.site.Code, t.day)
		if t.in.places[t.day] == 0 {
			why = fmt.Sprintf("%s has no handover place on %s", t.in.site.Code, t.day)
		}
	case m.Reason == slots.NoTrainer && len(t.p.Visits[m.Visit].Trainers) == 0:
		why = "nobody who may hold it is at work on " + t.day.String()
	}
	return why
}

// remedyWords says a change with names for numbers.
func (t *dayTask) remedyWords(visit int, r slots.Remedy) string {
	moved := ""
	if r.Moved > 0 {
		moved = fmt.Sprintf(" (and %d others at other times)", r.Moved)
	}
	clock := func(s slots.Span) string { return t.local(s.From) + " to " + t.local(s.To) }
	switch r.Change {
	case slots.Shorter:
		return fmt.Sprintf("a handover of %d minutes%s", t.p.Visits[visit].Minutes-r.Minutes, moved)
	case slots.Wider:
		return fmt.Sprintf("an owner who can come %s%s", clock(r.Span), moved)
	case slots.FreeTrainer:
		return fmt.Sprintf("%s free %s, if hours and breaks allow it%s", t.trainerCode(r.Of), clock(r.Span), moved)
	case slots.OtherTrainer:
		return fmt.Sprintf("%s to hold it%s", t.trainerCode(r.Of), moved)
	case slots.OtherArea:
		return fmt.Sprintf("%s to show it in%s", t.in.areas[r.Of].Code, moved)
	case slots.MorePlaces:
		return fmt.Sprintf("one more handover place on %s%s", t.day, moved)
	case slots.Nearer:
		return fmt.Sprintf("owners %d minutes nearer to each other at the %s, if their dogs can pass there without harm%s", r.Minutes, t.in.setting.Gates[r.Of], moved)
	}
	return r.String()
}

func (t *dayTask) trainerCode(n int) string {
	var id ids.TrainerID
	if n >= 0 && n < len(t.shifts) {
		id = t.shifts[n].TrainerID
	}
	return t.in.trainers[id].Code
}
