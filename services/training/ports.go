package training

import (
	"cmp"
	"context"
	"slices"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// Names of the kinds of record that this package keeps.
const (
	KindSkills   = "skills"
	KindTargets  = "targets"
	KindSessions = "sessions"

	// These are kept by other packages; columns refer to them by name.
	kindPrograms = "programs"
	kindDogs     = "dogs"
	kindTrainers = "trainers"
)

// Ports returns the ways in and out of this package's records, in import order. known gives the codes that lists show.
func Ports(known Known) []records.Port {
	return []records.Port{skillsPort(), targetsPort(known), sessionsPort(known)}
}

func skillsPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindSkills, About: "The skill ladder: what dogs are taught, and how", Key: []string{"code"}, Columns: []sheet.Column{
			{Name: "code", Form: sheet.FormCode, Required: true, Example: "SIT-STAY", About: "short name used in other files"},
			{Name: "name", Form: sheet.FormText, Required: true, Max: 120, Example: "Sit and stay", About: "name for people"},
			{Name: "about", Form: sheet.FormText, Max: 500, Example: "from 30 seconds up", About: "how it is done"},
			{Name: "with_name", Form: sheet.FormYesNo, Required: true, Example: "no", About: "whether the dog's name is said with the command"},
			{Name: "sort_order", Form: sheet.FormWhole, Required: true, Min: 0, Max: 1000, Example: "30", About: "lower ones come first"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
			skills := make([]Skill, len(rows))
			for i, row := range rows {
				skills[i] = Skill{ID: ids.SkillID(in.Mint()), Code: row.Text("code"), Name: row.Text("name"), About: row.Text("about"),
					WithName: row.Yes("with_name"), SortOrder: row.Int("sort_order")}
			}
			return nil, putSkills(ctx, tx, skills)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			skills, err := ListSkills(ctx, db)
			slices.SortFunc(skills, func(a, b Skill) int { return cmp.Compare(a.Code, b.Code) })
			return records.Cells(skills, func(s Skill) []string {
				return []string{s.Code, s.Name, s.About, sheet.YesNo(s.WithName), sheet.Int(s.SortOrder)}
			}), err
		},
		Codes: SkillCodes,
	}
}

var (
	skillColumn       = sheet.Column{Name: "skill", Form: sheet.FormCode, Required: true, Refers: KindSkills, Example: "SIT-STAY", About: "code of the skill"}
	holdColumn        = sheet.Column{Name: "hold_seconds", Form: sheet.FormWhole, Min: 0, Max: mostHold, Example: "60"}
	distanceColumn    = sheet.Column{Name: "distance_cm", Form: sheet.FormWhole, Min: 0, Max: mostDistanceCM, Example: "183"}
	distractionColumn = sheet.Column{Name: "distraction", Form: sheet.FormChoice, OneOf: DistractionNames, Example: "mild"}
)

// withAbout is a column with words of its own.
func withAbout(c sheet.Column, about string) sheet.Column {
	c.About = about
	return c
}

func targetsPort(known Known) records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindTargets, About: "What each program asks of a skill by graduation day", Key: []string{"program", "skill"}, Columns: []sheet.Column{
			{Name: "program", Form: sheet.FormCode, Required: true, Refers: kindPrograms, Example: "MANNERS", About: "code of the program"},
			skillColumn,
			{Name: "trials_percent", Form: sheet.FormWhole, Required: true, Min: 1, Max: 100, Example: "80", About: "share of trials to pass, in percent"},
			withAbout(holdColumn, "seconds to hold; empty or 0 when none are asked for"),
			withAbout(distanceColumn, "centimetres from the handler; 183 is a six-foot leash; empty or 0 when none are asked for"),
			withAbout(distractionColumn, "how busy the place is; empty for quiet"),
		}},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			targets := make([]Target, len(rows))
			for i, row := range rows {
				targets[i] = Target{ProgramID: ids.ProgramID(row.Ref("program")), SkillID: ids.SkillID(row.Ref("skill")), TrialsPercent: row.Int("trials_percent"),
					HoldSeconds: row.Int("hold_seconds"), DistanceCM: row.Int("distance_cm"), Distraction: max(0, slices.Index(DistractionNames, row.Text("distraction")))}
			}
			return nil, putTargets(ctx, tx, targets)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) { return listTargetRows(ctx, db, known) },
	}
}

// listTargetRows lists what every program asks, by the codes of program and skill.
func listTargetRows(ctx context.Context, db postgres.DB, known Known) ([][]string, error) {
	targets, err := ListTargets(ctx, db)
	if err != nil {
		return nil, err
	}
	programs, err := known.Programs(ctx, db)
	if err != nil {
		return nil, err
	}
	program := make(map[ids.ProgramID]string, len(programs))
	for _, p := range programs {
		program[p.ID] = p.Code
	}
	skills, err := ListSkills(ctx, db)
	skill := make(map[ids.SkillID]string, len(skills))
	for _, s := range skills {
		skill[s.ID] = s.Code
	}
	rows := records.Cells(targets, func(t Target) []string {
		return []string{program[t.ProgramID], skill[t.SkillID], sheet.Int(t.TrialsPercent), sheet.Int(t.HoldSeconds), sheet.Int(t.DistanceCM), DistractionNames[t.Distraction]}
	})
	slices.SortFunc(rows, func(a, b []string) int { return slices.Compare(a[:2], b[:2]) })
	return rows, err
}
