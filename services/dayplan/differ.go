package dayplan

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/longlead/longlead/services/ids"
)

// Kinds of differences.
const (
	DiffCovered = "covered"
	DiffMoved   = "moved"
	DiffDropped = "dropped"
	DiffGained  = "gained"
	DiffDuty    = "duty"
)

// Difference is one thing that is otherwise in a new plan of a day.
type Difference struct {
	Kind  string
	DogID ids.DogID
	// Session is 0 for an arrival or handover.
	Session       int
	Before, After string
	Remedy        string
}

// Repair is a day planned anew, with what is otherwise and what it costs.
type Repair struct {
	Plan        Plan
	Differences []Difference
	// Points is what the day costs more than before, and Gap how many of them a better plan with the same blocks before the time could save
	// at most.
	Points, Gap int64
	// WithOthers is how many more sessions are not with the dog's own trainer.
	WithOthers int
}

// count is how many differences are of a kind.
func (r *Repair) count(kind string) (n int) {
	for _, d := range r.Differences {
		if d.Kind == kind {
			n++
		}
	}
	return n
}

// differ lists what is otherwise, by dog and session. n shows codes; gone is who is absent, if anybody is.
func differ(before, after *Plan, gone ids.TrainerID, n *names, clock dayClock) (found []Difference) {
	now := map[wasKey]Block{}
	for _, b := range after.Blocks {
		now[wasKey{b.DogID, b.Session}] = b
	}
	dropped := map[wasKey]Drop{}
	for _, d := range after.Drops {
		dropped[wasKey{d.DogID, d.Session}] = d
	}
	words := func(b Block) string {
		who := n.trainers[b.TrainerID]
		if !b.SecondID.IsZero() {
			who += " and " + n.trainers[b.SecondID]
		}
		return fmt.Sprintf("%s with %s in %s", clock.local(b.From), who, n.areas[b.AreaID])
	}
	known := map[wasKey]bool{}
	for _, b := range before.Blocks {
		key := wasKey{b.DogID, b.Session}
		known[key] = true
		d := Difference{DogID: b.DogID, Session: b.Session, Before: words(b)}
		a, held := now[key]
		switch {
		case !held:
			d.Kind, d.After, d.Remedy = DiffDropped, dropped[key].Reason, dropped[key].Remedy
			if d.After == "" {
				d.After, d.Remedy = "the records ask for this session no more: the dog, its stay or its program has changed", "look at the dog's stay"
			}
		case a.TrainerID == b.TrainerID && a.SecondID == b.SecondID && a.AreaID == b.AreaID && a.From.Equal(b.From) && a.To.Equal(b.To):
			continue
		case !gone.IsZero() && (b.TrainerID == gone && a.TrainerID != gone || b.SecondID == gone && a.SecondID != gone):
			d.Kind, d.After = DiffCovered, words(a)
		default:
			d.Kind, d.After = DiffMoved, words(a)
		}
		found = append(found, d)
	}
	for key, a := range now {
		if !known[key] {
			found = append(found, Difference{Kind: DiffGained, DogID: key.dog, Session: key.session, Before: "not held", After: words(a)})
		}
	}
	found = append(found, differDuties(before, after, n, clock)...)
	slices.SortFunc(found, func(a, b Difference) int {
		return cmp.Or(cmp.Compare(n.dogs[a.DogID].Code, n.dogs[b.DogID].Code), cmp.Compare(a.Session, b.Session), cmp.Compare(a.Before, b.Before))
	})
	return found
}

func differDuties(before, after *Plan, n *names, clock dayClock) (found []Difference) {
	words := func(d Duty) string {
		who := "nobody"
		if !d.TrainerID.IsZero() {
			who = n.trainers[d.TrainerID]
		}
		return fmt.Sprintf("%s at %s with %s", d.Kind, clock.local(d.From), who)
	}
	for _, a := range after.Duties {
		at := slices.IndexFunc(before.Duties, func(b Duty) bool { return b.DogID == a.DogID && b.Kind == a.Kind })
		was := "not planned"
		if at >= 0 {
			b := before.Duties[at]
			if b.TrainerID == a.TrainerID && b.From.Equal(a.From) {
				continue
			}
			was = words(b)
		}
		found = append(found, Difference{Kind: DiffDuty, DogID: a.DogID, Before: was, After: words(a)})
	}
	return found
}

// withOthers is how many sessions are not with the dog's own trainer.
func (p *Plan) withOthers() (n int) {
	for _, b := range p.Blocks {
		if !b.Own {
			n++
		}
	}
	return n
}
