package daysheet

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/training"
)

// compose makes all sheets of a day.
func compose(s *snapshot) (*Day, error) {
	in := &s.Inputs
	d := &Day{SiteCode: in.Site.Code, SiteName: in.Site.Name, Zone: in.Site.Zone, Day: in.Day, Number: s.Plan.Number, MadeAt: s.Plan.MadeAt, Stale: s.Stale}
	if n := s.Minutes(); n != minutesADay {
		d.Notes = append(d.Notes, fmt.Sprintf("Clocks change on this day: it has %d minutes instead of %d. Times are as clocks show them.", n, minutesADay))
	}
	d.Notes = append(d.Notes, s.Plan.Notes...)
	if err := s.addDogs(d); err != nil {
		return nil, err
	}
	lines, drops := s.lines(), s.drops()
	if err := s.addTrainers(d, lines, drops); err != nil {
		return nil, err
	}
	addRows(d, lines, drops)
	return d, nil
}

const minutesADay = 24 * 60

func (s *snapshot) addDogs(d *Day) error {
	var here []ids.DogID
	for i := range s.Inputs.Guests {
		g := &s.Inputs.Guests[i]
		dog, err := s.guest(g)
		if err != nil {
			return err
		}
		d.Dogs = append(d.Dogs, dog)
		here = append(here, g.Case.Dog.ID)
	}
	for id, known := range s.dogs {
		if !slices.Contains(here, id) {
			d.Dogs = append(d.Dogs, Dog{Code: known.Code, Name: known.Name, Cautions: []Caution{{AboutAbsent,
				"the plan names it, and it is not among the dogs of the day any more: ask before you fetch it, and have the day planned anew"}}})
		}
	}
	slices.SortFunc(d.Dogs, func(a, b Dog) int { return strings.Compare(a.Code, b.Code) })
	return nil
}

// guest is a dog of the day.
func (s *snapshot) guest(g *dayplan.Guest) (Dog, error) {
	need, err := g.Case.Need(g.Stay.Nights.From)
	if err != nil {
		return Dog{}, err
	}
	var handlers []string
	atWork := 0
	for _, shift := range s.Inputs.Shifts {
		if shift.Day.Minutes == 0 {
			continue // present, and handles no dogs
		}
		atWork++
		if ok, _ := planner.Suits(shift.Trainer, need); ok {
			handlers = append(handlers, shift.Trainer.Code)
		}
	}
	warned, err := s.cautions(g, need, handlers, atWork)
	if err != nil {
		return Dog{}, err
	}
	run, id := s.runOf(g), g.Case.Dog.ID
	dog := Dog{Code: g.Case.Dog.Code, Name: g.Case.Dog.Name, Run: run.Code, Row: run.Row, Own: g.OwnTrainer,
		DayOfStay: s.Inputs.Day.Sub(g.Stay.Nights.From) + 1, Days: g.Stay.Nights.Nights() + 1, Graduation: g.Stay.Nights.To,
		Care: need.Care, Handlers: handlers, Cautions: warned,
		Owner: Contact{s.owners[id].Name, s.owners[id].Phone}}
	if vet := s.upkeep[id].Vet; vet != nil {
		dog.Vet = Contact{vet.Name, vet.Phone}
	}
	return dog, nil
}

// runOf is the run in which a dog is on the day: its own, or the one that it is isolated in.
func (s *snapshot) runOf(g *dayplan.Guest) facility.Run {
	for _, r := range s.runs {
		if g.Isolated != "" && r.SiteID == s.Inputs.Site.ID && r.Code == g.Isolated {
			return r
		}
	}
	return s.runs[g.Stay.RunID]
}

// lines is everything that the plan has people do, by time.
func (s *snapshot) lines() []Line {
	areas, programs := map[ids.AreaID]string{}, map[ids.DogID]ids.ProgramID{}
	for _, a := range s.Inputs.Areas {
		areas[a.ID] = a.Code
	}
	for _, g := range s.Inputs.Guests {
		programs[g.Case.Dog.ID] = g.Case.Program.ID
	}
	skills := s.skills()
	var out []Line
	for _, b := range s.Plan.Blocks {
		l := Line{Kind: dayplan.KindSession, From: b.From, To: b.To, Dog: s.dogs[b.DogID].Code, Session: b.Session, Trainer: s.trainers[b.TrainerID].Code,
			Own: b.Own, Second: s.trainers[b.SecondID].Code, Area: areas[b.AreaID], Skill: skills[b.SkillID].Code, SkillName: skills[b.SkillID].Name}
		if target, ok := s.targets[programs[b.DogID]][b.SkillID]; ok {
			l.Target = targetWords(target)
		}
		out = append(out, l)
	}
	for _, p := range s.Plan.Pauses {
		out = append(out, Line{Kind: p.Kind, From: p.From, To: p.To, Trainer: s.trainers[p.TrainerID].Code})
	}
	for _, x := range s.Plan.Duties {
		out = append(out, Line{Kind: x.Kind, From: x.From, To: x.To, Dog: s.dogs[x.DogID].Code, Trainer: s.trainers[x.TrainerID].Code, Own: s.isOwn(x.DogID, x.TrainerID)})
	}
	for i := range out {
		out[i].Starts, out[i].Ends = s.Local(out[i].From), s.Local(out[i].To)
	}
	slices.SortStableFunc(out, func(a, b Line) int {
		return cmp.Or(a.From.Compare(b.From), a.To.Compare(b.To), strings.Compare(a.Trainer, b.Trainer), strings.Compare(a.Dog, b.Dog))
	})
	return out
}

func (s *snapshot) isOwn(dog ids.DogID, trainer ids.TrainerID) bool {
	return slices.ContainsFunc(s.Inputs.Guests, func(g dayplan.Guest) bool { return g.Case.Dog.ID == dog && g.Stay.TrainerID == trainer })
}

func (s *snapshot) skills() map[ids.SkillID]training.Skill {
	skills := map[ids.SkillID]training.Skill{}
	for _, k := range s.Inputs.Skills {
		skills[k.ID] = k
	}
	return skills
}

// targetWords is what a program asks of a skill by graduation day.
func targetWords(t training.Target) string {
	parts := []string{fmt.Sprintf("%d %% of trials", t.TrialsPercent)}
	switch {
	case t.HoldSeconds >= 60 && t.HoldSeconds%60 == 0:
		parts = append(parts, fmt.Sprintf("hold %d min", t.HoldSeconds/60))
	case t.HoldSeconds > 0:
		parts = append(parts, fmt.Sprintf("hold %d s", t.HoldSeconds))
	}
	if t.DistanceCM > 0 {
		parts = append(parts, fmt.Sprintf("at %.2f m", float64(t.DistanceCM)/100))
	}
	return strings.Join(append(parts, training.DistractionNames[t.Distraction]+" place"), ", ")
}

func (s *snapshot) drops() []Drop {
	skills := s.skills()
	var out []Drop
	for _, x := range s.Plan.Drops {
		out = append(out, Drop{Dog: s.dogs[x.DogID].Code, Session: x.Session, SkillName: skills[x.SkillID].Name, Reason: x.Reason, Remedy: x.Remedy})
	}
	slices.SortFunc(out, func(a, b Drop) int { return cmp.Or(strings.Compare(a.Dog, b.Dog), cmp.Compare(a.Session, b.Session)) })
	return out
}

// addTrainers makes a sheet for whoever has a shift or anything to do.
func (s *snapshot) addTrainers(d *Day, lines []Line, drops []Drop) error {
	sheets := map[string]*TrainerSheet{}
	for _, shift := range s.Inputs.Shifts {
		ends, err := s.ShiftEnds(shift)
		if err != nil {
			return err
		}
		sheets[shift.Trainer.Code] = &TrainerSheet{Code: shift.Trainer.Code, Name: shift.Trainer.Name, Starts: shift.Day.Starts.String(), Ends: ends}
	}
	for _, l := range lines {
		// What nobody can do is in the notes of the plan, and on the sheets of rows.
		for _, who := range []string{l.Trainer, l.Second} {
			if who == "" {
				continue
			}
			if sheets[who] == nil {
				sheets[who] = &TrainerSheet{Code: who, Name: s.nameOf(who)}
			}
			sheets[who].Lines = append(sheets[who].Lines, l)
		}
	}
	for _, code := range slices.Sorted(maps.Keys(sheets)) {
		x := sheets[code]
		for _, dog := range d.Dogs {
			if dog.Own == code || slices.ContainsFunc(x.Lines, func(l Line) bool { return l.Dog == dog.Code }) {
				x.Dogs = append(x.Dogs, dog.Code)
			}
		}
		for _, drop := range drops {
			if d.dog(drop.Dog).Own == code {
				x.Drops = append(x.Drops, drop)
			}
		}
		d.Trainers = append(d.Trainers, *x)
	}
	return nil
}

func (s *snapshot) nameOf(code string) string {
	for _, t := range s.trainers {
		if t.Code == code {
			return t.Name
		}
	}
	return ""
}

// addRows makes a sheet for each row in which a dog lives.
func addRows(d *Day, lines []Line, drops []Drop) {
	rows := map[string]*RowSheet{}
	for _, dog := range d.Dogs {
		if dog.Run == "" {
			continue
		}
		if rows[dog.Row] == nil {
			rows[dog.Row] = &RowSheet{Row: dog.Row}
		}
		rows[dog.Row].Dogs = append(rows[dog.Row].Dogs, dog.Code)
	}
	for _, name := range slices.Sorted(maps.Keys(rows)) {
		row := rows[name]
		slices.SortStableFunc(row.Dogs, func(a, b string) int { return compareRuns(d.dog(a).Run, d.dog(b).Run) })
		for _, l := range lines {
			if slices.Contains(row.Dogs, l.Dog) {
				row.Lines = append(row.Lines, l)
			}
		}
		for _, x := range drops {
			if slices.Contains(row.Dogs, x.Dog) {
				row.Drops = append(row.Drops, x)
			}
		}
		d.Rows = append(d.Rows, *row)
	}
}

// compareRuns puts A2 before A10.
func compareRuns(a, b string) int { return cmp.Or(cmp.Compare(len(a), len(b)), strings.Compare(a, b)) }

// withhold takes contacts away.
func (d *Day) withhold() {
	d.Withheld = true
	for i := range d.Dogs {
		d.Dogs[i].Vet, d.Dogs[i].Owner = Contact{}, Contact{}
	}
}

// only keeps the sheets that are asked for, and the dogs on them.
func (d *Day) only(keepTrainer func(TrainerSheet) bool, keepRow func(RowSheet) bool) {
	d.Trainers = slices.DeleteFunc(d.Trainers, func(x TrainerSheet) bool { return !keepTrainer(x) })
	d.Rows = slices.DeleteFunc(d.Rows, func(x RowSheet) bool { return !keepRow(x) })
	shown := map[string]bool{}
	for _, x := range d.Trainers {
		for _, code := range x.Dogs {
			shown[code] = true
		}
	}
	for _, x := range d.Rows {
		for _, code := range x.Dogs {
			shown[code] = true
		}
	}
	d.Dogs = slices.DeleteFunc(d.Dogs, func(x Dog) bool { return !shown[x.Code] })
}
