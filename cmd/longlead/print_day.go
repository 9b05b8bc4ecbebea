package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// begunAlready tells a day that has begun from other refusals.
func begunAlready(err error) bool {
	return slices.ContainsFunc(status.Convert(err).Details(), func(detail any) bool {
		info, ok := detail.(*errdetails.ErrorInfo)
		return ok && info.GetReason() == "DAY_BEGUN"
	})
}

// printDay writes a day, trainer by trainer, in local times.
func printDay(out io.Writer, o *Options, p *dayplanv1.DayPlan) {
	title := fmt.Sprintf("%s, %s (%s): plan %d", p.GetSiteCode(), p.GetDay(), p.GetZone(), p.GetNumber())
	if p.GetNumber() == 0 {
		title = fmt.Sprintf("%s, %s (%s): not kept; %s keeps one", p.GetSiteCode(), p.GetDay(), p.GetZone(), o.command("day plan --site "+p.GetSiteCode()+" --date "+p.GetDay()))
	}
	fmt.Fprintln(out, title)
	fmt.Fprintf(out, "%d dogs, %d sessions held, %d dropped; value %d, bound %d, gap %.2f %%, %.1f s\n", p.GetDogs(), len(p.GetBlocks()), len(p.GetDrops()),
		p.GetValue(), p.GetBound(), p.GetGapPercent(), p.GetSeconds())
	if p.GetStale() {
		fmt.Fprintln(out, "What it was made from has changed since: plan the day anew, or look at what has changed.")
	}
	for _, trainer := range trainersOf(p) {
		fmt.Fprintf(out, "\n%s%s\n", trainer, hoursOf(p, trainer))
		t := newTable(out, "from", "to", "what", "area", "skill")
		for _, line := range linesOf(p, trainer) {
			t.AppendRow(line)
		}
		t.Render()
	}
	if len(p.GetDrops()) > 0 {
		fmt.Fprintln(out, "\nNot held:")
		t := newTable(out, "dog", "session", "skill", "why", "what would help")
		for _, d := range p.GetDrops() {
			t.AppendRow(table.Row{d.GetDogCode() + " " + d.GetDogName(), d.GetSession(), d.GetSkillCode(), text.WrapSoft(d.GetReason(), 44), text.WrapSoft(d.GetRemedy(), 34)})
		}
		t.Render()
	}
	fmt.Fprintln(out)
	for _, note := range p.GetNotes() {
		printSentence(out, "- %s", note)
	}
}

// trainersOf lists who has something to do, by code; duties without anybody come last.
func trainersOf(p *dayplanv1.DayPlan) []string {
	var codes []string
	for _, s := range p.GetShifts() {
		codes = append(codes, s.GetTrainerCode())
	}
	for _, b := range p.GetBlocks() {
		codes = append(codes, b.GetTrainerCode())
		if b.GetSecondTrainerCode() != "" {
			codes = append(codes, b.GetSecondTrainerCode())
		}
	}
	nobody := false
	for _, d := range p.GetDuties() {
		if nobody = nobody || d.GetTrainerCode() == ""; d.GetTrainerCode() != "" {
			codes = append(codes, d.GetTrainerCode())
		}
	}
	slices.Sort(codes)
	codes = slices.Compact(codes)
	if nobody {
		codes = append(codes, "")
	}
	return codes
}

func hoursOf(p *dayplanv1.DayPlan, trainer string) string {
	for _, s := range p.GetShifts() {
		if s.GetTrainerCode() == trainer {
			return fmt.Sprintf(", %s to %s", s.GetStarts(), s.GetEnds())
		}
	}
	if trainer == "" {
		return "Nobody yet"
	}
	return ""
}

// linesOf are a trainer's blocks, breaks and duties by time.
func linesOf(p *dayplanv1.DayPlan, trainer string) (rows []table.Row) {
	for _, b := range p.GetBlocks() {
		if b.GetTrainerCode() == trainer {
			dog := b.GetDogCode() + " " + b.GetDogName()
			if !b.GetOwnTrainer() {
				dog += " (covers)"
			}
			if b.GetSecondTrainerCode() != "" {
				dog += ", with " + b.GetSecondTrainerCode()
			}
			rows = append(rows, table.Row{b.GetStarts(), b.GetEnds(), dog, b.GetAreaCode(), b.GetSkillCode()})
		}
	}
	for _, b := range p.GetBlocks() {
		if b.GetSecondTrainerCode() == trainer && trainer != "" {
			rows = append(rows, table.Row{b.GetStarts(), b.GetEnds(), "second person for " + b.GetDogCode() + " " + b.GetDogName() + ", with " + b.GetTrainerCode(), b.GetAreaCode(), b.GetSkillCode()})
		}
	}
	for _, r := range p.GetRests() {
		if r.GetTrainerCode() == trainer {
			rows = append(rows, table.Row{r.GetStarts(), r.GetEnds(), r.GetKind(), "", ""})
		}
	}
	for _, d := range p.GetDuties() {
		if d.GetTrainerCode() == trainer {
			rows = append(rows, table.Row{d.GetStarts(), d.GetEnds(), d.GetKind() + " of " + d.GetDogCode(), "", ""})
		}
	}
	slices.SortStableFunc(rows, func(a, b table.Row) int { return strings.Compare(a[0].(string), b[0].(string)) })
	return rows
}

// printDays writes the summary of many days.
func printDays(out io.Writer, o *Options, d daysPlanned) error {
	if o.JSON {
		return json.NewEncoder(out).Encode(d)
	}
	fmt.Fprintf(out, "%d days planned: %d sessions held, %d dropped, worst gap %.2f %%", d.Days, d.Held, d.Dropped, d.WorstGap)
	if d.WorstDay != "" {
		fmt.Fprintf(out, " (%s)", d.WorstDay)
	}
	fmt.Fprintf(out, ", %.1f s.\n", d.Seconds)
	if len(d.Begun) > 0 {
		printSentence(out, "Left as they are, because they have begun: %s. --anew replaces them.", strings.Join(d.Begun, ", "))
	}
	return nil
}

var diffWords = map[dayplanv1.Difference_Kind]string{
	dayplanv1.Difference_KIND_COVERED: "covered", dayplanv1.Difference_KIND_MOVED: "moved", dayplanv1.Difference_KIND_DROPPED: "dropped",
	dayplanv1.Difference_KIND_GAINED: "held now", dayplanv1.Difference_KIND_DUTY: "duty",
}

// repaired is a repair as it is printed: covered sessions are those of a trainer who is gone, and condition what was recorded for good.
type repaired struct {
	*dayplanv1.Repair
	covered   int32
	condition string
}

// printRepair writes what is otherwise, and nothing else.
func printRepair(out io.Writer, title string, r repaired) {
	fmt.Fprintf(out, "%s:\n", title)
	if r.GetSince() != "" && r.GetSince() != "00:00" {
		fmt.Fprintf(out, "What began before %s stays.\n", r.GetSince())
	}
	if len(r.GetDifferences()) == 0 {
		fmt.Fprintln(out, "Nothing is otherwise.")
	} else {
		t := newTable(out, "dog", "session", "", "before", "now")
		for _, d := range r.GetDifferences() {
			session, now := "", d.GetAfter()
			if d.GetRemedy() != "" {
				now += "; what would help: " + d.GetRemedy()
			}
			if d.GetSession() > 0 {
				session = fmt.Sprint(d.GetSession())
			}
			t.AppendRow(table.Row{d.GetDogCode() + " " + d.GetDogName(), session, diffWords[d.GetKind()], text.WrapSoft(d.GetBefore(), 30), text.WrapSoft(now, 46)})
		}
		t.Render()
	}
	printSentence(out, "%d covered, %d moved, %d dropped; %d more sessions with somebody other than the dog's own trainer; %d points, of which at most %d could be saved; %.2f s.",
		r.covered, r.GetMoved(), r.GetDropped(), r.GetWithOthers(), r.GetPoints(), r.GetGap(), r.GetSeconds())
	for _, note := range r.GetNotes() {
		printSentence(out, "- %s", note)
	}
	if r.GetPlan().GetNumber() == 0 {
		fmt.Fprintln(out, "Nothing was changed; --keep keeps this plan of the day.")
		return
	}
	if r.condition != "" {
		fmt.Fprintf(out, "Recorded: %s. Kept as plan %d of the day.\n", r.condition, r.GetPlan().GetNumber())
		return
	}
	fmt.Fprintf(out, "Kept as plan %d of the day. The absence itself is recorded in the roster, not here.\n", r.GetPlan().GetNumber())
}
