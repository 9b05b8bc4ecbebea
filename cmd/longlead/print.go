package main

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"sort"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/plaintable"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// mostFaults is how many faults are printed for people; --json and the rejected files have all.
const mostFaults = 200

func printJSON(out io.Writer, m proto.Message) error {
	content, err := protojson.MarshalOptions{Multiline: true, UseProtoNames: true}.Marshal(m)
	if err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	_, err = fmt.Fprintln(out, string(content))
	return err
}

func newTable(out io.Writer, headings ...any) table.Writer { return plaintable.New(out, headings...) }

func printImport(out io.Writer, o *Options, report *exchangev1.ImportReport, dryRun, skipBad bool) {
	t := newTable(out, "file", "kind", "rows", "taken", "rejected")
	for _, f := range report.GetFiles() {
		t.AppendRow(table.Row{f.GetName(), f.GetKind(), f.GetRows(), f.GetTaken(), f.GetRejected()})
	}
	t.Render()
	for _, f := range report.GetFiles() {
		for _, note := range f.GetNotes() {
			fmt.Fprintf(out, "%s: %s\n", f.GetName(), note)
		}
	}
	faults := report.GetFaults()
	for i, f := range faults {
		if i == mostFaults {
			fmt.Fprintf(out, "and %d more faults\n", len(faults)-mostFaults)
			break
		}
		fmt.Fprintln(out, sheet.Fault{File: f.GetFile(), Line: int(f.GetLine()), Column: f.GetColumn(), Value: f.GetValue(), Rule: f.GetRule(), Remedy: f.GetRemedy()})
	}
	switch {
	case report.GetImported():
		fmt.Fprintf(out, "Imported. Plan a month with it: %s\n", o.command("plan draft MONTH"))
	case dryRun && len(faults) == 0:
		fmt.Fprintln(out, "No faults. Nothing was imported, as this was a check only: run it again without --dry-run.")
	case dryRun:
		fmt.Fprintf(out, "%d faults. Nothing was imported, as this was a check only: correct the faults and check again.\n", len(faults))
	case skipBad:
		fmt.Fprintf(out, "%d faults, and a file that cannot be read at all, so nothing was imported. Correct that file or leave it out.\n", len(faults))
	default:
		fmt.Fprintf(out, "%d faults, so nothing was imported. Correct them, or import the good rows with --skip-bad.\n", len(faults))
	}
	for _, f := range report.GetFiles() {
		if f.GetRejectedName() != "" {
			fmt.Fprintf(out, "%d rejected rows of %s are in %s, with their reasons.\n", f.GetRejected(), f.GetName(), f.GetRejectedName())
		}
	}
}

func printKinds(out io.Writer, ports []records.Port, asJSON bool) error {
	if asJSON {
		list := &exchangev1.ListKindsResponse{}
		for _, p := range ports {
			kind := &exchangev1.Kind{Name: p.Kind.Name, About: p.Kind.About, Key: p.Kind.Key}
			for _, c := range p.Kind.Columns {
				kind.Columns = append(kind.Columns, &exchangev1.Column{Name: c.Name, About: c.About, Form: c.Form.String(), Required: c.Required, Example: c.Example})
			}
			list.Kinds = append(list.Kinds, kind)
		}
		return printJSON(out, list)
	}
	t := newTable(out, "kind", "what a row is", "columns")
	for _, p := range ports {
		names := make([]string, len(p.Kind.Columns))
		for i, c := range p.Kind.Columns {
			names[i] = c.Name
		}
		t.AppendRow(table.Row{p.Kind.Name, text.WrapSoft(p.Kind.About, 46), text.WrapSoft(strings.Join(names, ", "), 50)})
	}
	t.Render()
	return nil
}

func templateOf(ports []records.Port, kind, format string) ([]byte, error) {
	for _, p := range ports {
		if p.Kind.Name == kind {
			var buffer bytes.Buffer
			err := sheet.Template(&buffer, format, p.Kind)
			return buffer.Bytes(), err
		}
	}
	return nil, apperr.NotFoundf("KIND_UNKNOWN", "there is no kind of record %q: `longlead template` lists them", kind)
}

var stateWords = map[plannerv1.PlanState]string{
	plannerv1.PlanState_PLAN_STATE_DRAFTING: "drafting", plannerv1.PlanState_PLAN_STATE_DRAFT: "draft",
	plannerv1.PlanState_PLAN_STATE_PUBLISHED: "published", plannerv1.PlanState_PLAN_STATE_SUPERSEDED: "superseded",
	plannerv1.PlanState_PLAN_STATE_CANCELLED: "cancelled", plannerv1.PlanState_PLAN_STATE_FAILED: "failed",
}

func printPlans(out io.Writer, o *Options, plans []*plannerv1.Plan) {
	if len(plans) == 0 {
		fmt.Fprintf(out, "There is no plan yet. This makes one, with a MONTH such as 2027-03: %s\n", o.command("plan draft MONTH"))
		return
	}
	t := newTable(out, "plan", "state", "placed", "requests", "value", "bound", "gap", "made", "by")
	for _, p := range plans {
		t.AppendRow(table.Row{planName(p), stateWords[p.GetState()], p.GetPlaced(), p.GetRequests(), p.GetValue(), p.GetBound(),
			percent(p.GetGapPercent()), p.GetMadeAt().AsTime().Format("2006-01-02 15:04Z"), p.GetMadeBy()})
	}
	t.Render()
}

func planName(p *plannerv1.Plan) string { return fmt.Sprintf("%s/%d", p.GetMonth(), p.GetNumber()) }

func percent(p float64) string { return fmt.Sprintf("%.2f %%", p) }

// share writes used of capacity, with the percentage.
func share(used, capacity int64) string {
	if capacity == 0 {
		return fmt.Sprintf("%d of 0", used)
	}
	return fmt.Sprintf("%d of %d (%d %%)", used, capacity, 100*used/capacity)
}

// hours writes minutes of capacity as hours.
func hours(used, capacity int64) string { return share(used/60, capacity/60) }

func printPlan(out io.Writer, o *Options, plan *plannerv1.ReadPlanResponse, detail int) {
	p := plan.GetPlan()
	fmt.Fprintf(out, "Plan %s, %s: %d of %d requests placed, value %d, proven bound %d, gap %s, %.1f s.\n\n", planName(p), stateWords[p.GetState()],
		p.GetPlaced(), p.GetRequests(), p.GetValue(), p.GetBound(), percent(p.GetGapPercent()), p.GetSeconds())
	t := newTable(out, "site", "requests", "placed", "waiting", "run nights", "trainer hours", "intake places", "handover places", "value")
	for _, s := range plan.GetSites() {
		t.AppendRow(table.Row{s.GetSiteCode(), s.GetRequests(), s.GetPlaced(), s.GetWaiting(), share(s.GetRunNightsUsed(), s.GetRunNights()),
			hours(s.GetTrainerMinutesUsed(), s.GetTrainerMinutes()), share(s.GetIntakeUsed(), s.GetIntake()), share(s.GetHandoverUsed(), s.GetHandover()), s.GetValue()})
	}
	t.Render()
	fmt.Fprintln(out, "A request whose owner accepts several sites counts at each of them. Use is of the month's days, earlier promises included.")
	printLongDays(out, plan, detail)
	printReasons(out, plan.GetWaits(), detail >= showPlacements)
	if detail >= showPlacements {
		printPlacements(out, plan.GetPlacements())
		printWaits(out, plan.GetWaits())
		printPolicy(out, plan.GetPolicy())
	}
	if detail >= showUses {
		printUses(out, plan.GetUses())
	}
	printCautions(out, plan.GetCautions(), detail)
	if detail == showTotals {
		fmt.Fprintf(out, "\nThe whole plan: %s\n", o.command("plan show "+planName(p)))
		if p.GetState() == plannerv1.PlanState_PLAN_STATE_DRAFT {
			fmt.Fprintf(out, "Turn it into promises: %s\n", o.command("plan publish "+planName(p)))
		}
	}
}

// printReasons sums the wait list up: how many wait for each kind of reason, and which could not be placed at all unless the whole
// list follows.
func printReasons(out io.Writer, waits []*plannerv1.Wait, listFollows bool) {
	if len(waits) == 0 {
		return
	}
	hard := 0
	bySite := map[string]int{}
	for _, w := range waits {
		if w.GetHard() {
			hard++
		}
		bySite[strings.Join(w.GetSiteCodes(), "+")]++
	}
	fmt.Fprintf(out, "\n%d requests wait: %d could not be placed by any plan of this month, %d gave way to others.\n", len(waits), hard, len(waits)-hard)
	if hard > 0 && !listFollows {
		printWaits(out, slices.DeleteFunc(slices.Clone(waits), func(w *plannerv1.Wait) bool { return !w.GetHard() }))
	}
	sites := make([]string, 0, len(bySite))
	for s := range bySite {
		sites = append(sites, s)
	}
	sort.Strings(sites)
	fmt.Fprint(out, "Waiting by the sites that owners accept:")
	for _, s := range sites {
		fmt.Fprintf(out, " %s %d;", s, bySite[s])
	}
	fmt.Fprintln(out)
}

func printPlacements(out io.Writer, placements []*plannerv1.Placement) {
	fmt.Fprintln(out)
	t := newTable(out, "site", "arrival", "graduation", "request", "dog", "run", "class", "trainer", "minutes a day", "points", "standing")
	for _, p := range placements {
		t.AppendRow(table.Row{p.GetSiteCode(), p.GetArrival(), p.GetGraduation(), p.GetRequestCode(), p.GetDogName(), p.GetRunCode(), p.GetRunClass(),
			p.GetTrainerCode(), p.GetMinutesADay(), p.GetValue(), p.GetStanding()})
	}
	t.Render()
}

func printWaits(out io.Writer, waits []*plannerv1.Wait) {
	fmt.Fprintln(out)
	t := newTable(out, "waiting", "dog", "sites", "why", "what would help")
	for _, w := range waits {
		t.AppendRow(table.Row{w.GetRequestCode(), w.GetDogName(), text.WrapSoft(strings.Join(w.GetSiteCodes(), " "), 10), text.WrapSoft(w.GetReason(), 50), text.WrapSoft(w.GetRemedy(), 34)})
	}
	t.Render()
}

func printPolicy(out io.Writer, terms []*plannerv1.PolicyTerm) {
	fmt.Fprintln(out, "\nThe policy that the plan was made by:")
	t := newTable(out, "term", "points", "what for")
	for _, term := range terms {
		t.AppendRow(table.Row{term.GetTerm(), term.GetPoints(), term.GetAbout()})
	}
	t.Render()
}

func printUses(out io.Writer, uses []*plannerv1.Use) {
	fmt.Fprintln(out)
	t := newTable(out, "site", "resource", "unit", "day", "used", "there is", "price of one more")
	for _, u := range uses {
		t.AppendRow(table.Row{u.GetSiteCode(), u.GetResource(), u.GetUnit(), u.GetDay(), u.GetUsed(), u.GetCapacity(), fmt.Sprintf("%.2f", u.GetPrice())})
	}
	t.Render()
}

// printCautions prints all cautions with the placements, and else their number.
func printCautions(out io.Writer, cautions []string, detail int) {
	if len(cautions) == 0 {
		return
	}
	if detail < showPlacements {
		fmt.Fprintf(out, "\n%d cautions for people to read before the plan is used; the whole plan has them.\n", len(cautions))
		return
	}
	fmt.Fprintln(out, "\nCautions. They are for people to judge; law, a veterinarian and a qualified behaviour professional go before them.")
	for _, c := range cautions {
		fmt.Fprintln(out, " -", c)
	}
}

func printComparison(out io.Writer, c *plannerv1.ComparePlansResponse) {
	t := newTable(out, "", planName(c.GetFirst()), planName(c.GetSecond()))
	t.AppendRow(table.Row{"state", stateWords[c.GetFirst().GetState()], stateWords[c.GetSecond().GetState()]})
	t.AppendRow(table.Row{"placed", c.GetFirst().GetPlaced(), c.GetSecond().GetPlaced()})
	t.AppendRow(table.Row{"value", c.GetFirst().GetValue(), c.GetSecond().GetValue()})
	t.AppendRow(table.Row{"bound", c.GetFirst().GetBound(), c.GetSecond().GetBound()})
	t.AppendRow(table.Row{"gap", percent(c.GetFirst().GetGapPercent()), percent(c.GetSecond().GetGapPercent())})
	t.AppendRow(table.Row{"long days", longDayWords(c.GetFirstSites()), longDayWords(c.GetSecondSites())})
	for i, s := range c.GetFirstSites() {
		t.AppendRow(table.Row{"placed at " + s.GetSiteCode(), s.GetPlaced(), c.GetSecondSites()[i].GetPlaced()})
	}
	t.Render()
	fmt.Fprintf(out, "\n%d requests are treated differently.\n", len(c.GetDifferences()))
	d := newTable(out, "request", "dog", "first", "second", "what differs")
	for _, one := range c.GetDifferences() {
		d.AppendRow(table.Row{one.GetRequestCode(), one.GetDogName(), placeWords(one.GetFirst()), placeWords(one.GetSecond()), strings.Join(one.GetChanges(), ", ")})
	}
	d.Render()
}

func placeWords(p *plannerv1.Placement) string {
	if p == nil {
		return "waits"
	}
	return fmt.Sprintf("%s %s run %s with %s", p.GetSiteCode(), p.GetArrival(), p.GetRunCode(), p.GetTrainerCode())
}

func printExplanation(out io.Writer, why *plannerv1.ExplainRequestResponse) {
	if p := why.GetPlacement(); p != nil {
		fmt.Fprintf(out, "%s (%s) is placed: %s, from %s to %s, run %s (%s), trainer %s. Standing: %s. %d points:\n", p.GetRequestCode(), p.GetDogName(),
			p.GetSiteCode(), p.GetArrival(), p.GetGraduation(), p.GetRunCode(), p.GetRunClass(), p.GetTrainerCode(), p.GetStanding(), p.GetValue())
		t := newTable(out, "points", "term", "why")
		for _, one := range p.GetPoints() {
			t.AppendRow(table.Row{fmt.Sprintf("%+d", one.GetPoints()), one.GetTerm(), one.GetText()})
		}
		t.Render()
		return
	}
	w := why.GetWait()
	kind := "Others were worth more"
	if w.GetHard() {
		kind = "No plan of this month could place it"
	}
	fmt.Fprintf(out, "%s (%s) waits. %s.\n", w.GetRequestCode(), w.GetDogName(), kind)
	printSentence(out, "Why: %s.", w.GetReason())
	printSentence(out, "What would help: %s.", w.GetRemedy())
	printChanges(out, w)
	printWeighing(out, why.GetWeighing())
	fmt.Fprintf(out, "\n%d choices of site and day passed all rules. The others, and what held the best of these:\n", why.GetOpenChoices())
	t := newTable(out, "site", "arrival", "why not", "what would help", "held by")
	for _, r := range why.GetRefusals() {
		days := r.GetFirstDay()
		if r.GetLastDay() != days {
			days += " to " + r.GetLastDay()
		}
		t.AppendRow(table.Row{r.GetSiteCode(), days, text.WrapSoft(r.GetReason(), 40), text.WrapSoft(r.GetRemedy(), 24), text.WrapSoft(heldBy(r.GetHeldBy()), 16)})
	}
	t.Render()
}

// heldBy lists the first few requests that hold a place, and how many more.
func heldBy(codes []string) string {
	const shown = 6
	if len(codes) <= shown {
		return strings.Join(codes, " ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(codes[:shown], " "), len(codes)-shown)
}

func printPublished(out io.Writer, o *Options, r *plannerv1.PublishPlanResponse) {
	fmt.Fprintf(out, "Plan %s is published: %d new promises, %d kept, %d moved, %d given up.\n", planName(r.GetPlan()), r.GetNewStays(), r.GetKeptStays(), r.GetMovedStays(), r.GetDroppedStays())
	fmt.Fprintf(out, "Give them out as a list: %s\n", o.command("export stays"))
}
