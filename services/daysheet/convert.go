package daysheet

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

// selection says which sheets of a day are asked for.
type selection struct {
	trainers, rows bool
	// trainer and row name a single one; both empty for all.
	trainer, row string
}

// selectionOf reads which sheets are asked for. usually is what a request means that does not say.
func selectionOf(sheets daysheetv1.Sheets, trainer, row string, usually selection) (selection, error) {
	switch {
	case trainer != "" && row != "":
		return selection{}, apperr.InvalidField("row", "is given beside a trainer", "ask for the sheet of a trainer or of a row")
	case trainer != "" && sheets == daysheetv1.Sheets_SHEETS_ROWS:
		return selection{}, apperr.InvalidField("trainer_code", "is given where sheets of rows are asked for", "leave it out, or ask for sheets of trainers")
	case row != "" && sheets == daysheetv1.Sheets_SHEETS_TRAINERS:
		return selection{}, apperr.InvalidField("row", "is given where sheets of trainers are asked for", "leave it out, or ask for sheets of rows")
	case trainer != "" || sheets == daysheetv1.Sheets_SHEETS_TRAINERS:
		return selection{trainers: true, trainer: trainer}, nil
	case row != "" || sheets == daysheetv1.Sheets_SHEETS_ROWS:
		return selection{rows: true, row: row}, nil
	}
	return usually, nil
}

// apply keeps the sheets that are asked for. A single one that is not there is NotFound.
func (w selection) apply(d *Day) error {
	d.only(func(x TrainerSheet) bool { return w.trainers && (w.trainer == "" || x.Code == w.trainer) },
		func(x RowSheet) bool { return w.rows && (w.row == "" || x.Row == w.row) })
	switch {
	case w.trainer != "" && len(d.Trainers) == 0:
		return apperr.NotFoundf("NO_SHEET", "%s has neither a shift at %s on %s nor anything to do there", w.trainer, d.SiteCode, d.Day)
	case w.row != "" && len(d.Rows) == 0:
		return apperr.NotFoundf("NO_SHEET", "no dog lives in a row %q of %s on %s", w.row, d.SiteCode, d.Day)
	}
	return nil
}

// printing is how sheets are printed.
type printing struct {
	format daysheetv1.PrintDaySheetRequest_Format
	paper  Paper
}

func printingOf(req *daysheetv1.PrintDaySheetRequest) printing {
	p := printing{format: req.GetFormat(), paper: PaperA4}
	if req.GetPaper() == daysheetv1.PrintDaySheetRequest_PAPER_LETTER {
		p.paper = PaperLetter
	}
	return p
}

func dayToProto(d *Day) *daysheetv1.DaySheet {
	out := &daysheetv1.DaySheet{SiteCode: d.SiteCode, SiteName: d.SiteName, Day: d.Day.String(), Zone: d.Zone, Number: int32(d.Number),
		MadeAt: timestamppb.New(d.MadeAt), Stale: d.Stale, Notes: d.Notes, PhonesWithheld: d.Withheld}
	for _, x := range d.Dogs {
		dog := &daysheetv1.Dog{Code: x.Code, Name: x.Name, Run: x.Run, Row: x.Row, OwnTrainerCode: x.Own, DayOfStay: int32(x.DayOfStay), Days: int32(x.Days),
			CareClass: string(x.Care), HandlerCodes: x.Handlers, Vet: &daysheetv1.Contact{Name: x.Vet.Name, Phone: x.Vet.Phone},
			Owner: &daysheetv1.Contact{Name: x.Owner.Name, Phone: x.Owner.Phone}}
		if !x.Graduation.IsZero() {
			dog.GraduationDay = x.Graduation.String()
		}
		for _, c := range x.Cautions {
			dog.Cautions = append(dog.Cautions, &daysheetv1.Caution{About: c.About, Text: c.Text})
		}
		out.Dogs = append(out.Dogs, dog)
	}
	for _, x := range d.Trainers {
		out.Trainers = append(out.Trainers, &daysheetv1.TrainerSheet{TrainerCode: x.Code, TrainerName: x.Name, Starts: x.Starts, Ends: x.Ends, DogCodes: x.Dogs,
			Lines: linesToProto(x.Lines), Drops: dropsToProto(x.Drops)})
	}
	for _, x := range d.Rows {
		out.Rows = append(out.Rows, &daysheetv1.RowSheet{Row: x.Row, DogCodes: x.Dogs, Lines: linesToProto(x.Lines), Drops: dropsToProto(x.Drops)})
	}
	return out
}

func linesToProto(lines []Line) (out []*daysheetv1.Line) {
	for _, l := range lines {
		out = append(out, &daysheetv1.Line{Kind: l.Kind, Starts: l.Starts, Ends: l.Ends, StartsAt: timestamppb.New(l.From), EndsAt: timestamppb.New(l.To),
			DogCode: l.Dog, Session: int32(l.Session), TrainerCode: l.Trainer, OwnTrainer: l.Own, AreaCode: l.Area, SkillCode: l.Skill, SkillName: l.SkillName, Target: l.Target,
			SecondTrainerCode: l.Second})
	}
	return out
}

func dropsToProto(drops []Drop) (out []*daysheetv1.Drop) {
	for _, x := range drops {
		out = append(out, &daysheetv1.Drop{DogCode: x.Dog, Session: int32(x.Session), SkillName: x.SkillName, Reason: x.Reason, Remedy: x.Remedy})
	}
	return out
}

func feedToProto(f Feed) *daysheetv1.Feed {
	out := &daysheetv1.Feed{Id: f.ID.String(), TrainerCode: f.TrainerCode, MadeAt: timestamppb.New(f.MadeAt), MadeBy: f.MadeBy, RevokedBy: f.revoker()}
	if f.RevokedAt != nil {
		out.RevokedAt = timestamppb.New(*f.RevokedAt)
	}
	if !f.LastRead.IsZero() {
		out.LastRead = f.LastRead.String()
	}
	return out
}
