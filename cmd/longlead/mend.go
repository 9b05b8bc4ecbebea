package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

type mendCmd struct {
	Extend  mendExtendCmd  `cmd:"" help:"Show what keeping a dog until a later graduation day costs, and do it with --commit."`
	Isolate mendIsolateCmd `cmd:"" help:"Show what moving a dog to isolation does and touches, and do it with --commit."`
	Release mendReleaseCmd `cmd:"" help:"Let a dog out of isolation, as a veterinarian decides."`
	List    mendListCmd    `cmd:"" help:"Show who is isolated and watched at a site, and which intake holds run."`
	History mendHistoryCmd `cmd:"" help:"Show who changed a dog's stays, when and why."`
}

// withMend runs a command on promised stays, of this process or of --server.
func withMend(ctx context.Context, o *Options, std streams, do func(client plannerv1.MendServiceClient) error) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(plannerv1.NewMendServiceClient(a.conn))
}

type mendExtendCmd struct {
	Dog    string `arg:"" help:"Code of the dog, or of its request."`
	To     string `help:"New graduation day, written 2027-03-14; each of the next days when it is left out." placeholder:"DAY"`
	Days   int32  `help:"How many days after the promised graduation day to look at; 1 to 60." default:"14"`
	Commit string `help:"Do what was shown with this fingerprint; without it nothing is changed." placeholder:"FINGERPRINT"`
	Why    string `help:"Why, for the history of the stay." default:"not ready"`
}

// Run previews an extension, or commits one.
func (c *mendExtendCmd) Run(ctx context.Context, o *Options, std streams) error {
	if c.Commit != "" && c.To == "" {
		return usageError("mend extend --commit needs --to")
	}
	return withMend(ctx, o, std, func(client plannerv1.MendServiceClient) error {
		if c.Commit != "" {
			done, err := client.ExtendStay(ctx, &plannerv1.ExtendStayRequest{DogCode: c.Dog, Graduation: c.To, Fingerprint: c.Commit, Reason: c.Why})
			if err != nil {
				return err
			}
			if o.JSON {
				return printJSON(std.out, done)
			}
			printExtended(std.out, done)
			return nil
		}
		got, err := client.PreviewExtension(ctx, &plannerv1.PreviewExtensionRequest{DogCode: c.Dog, Graduation: c.To, Days: c.Days})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printExtensions(std.out, o, got, c.To != "")
		return nil
	})
}

type mendHistoryCmd struct {
	Dog string `arg:"" help:"Code of the dog, or of its request."`
}

// Run shows a history.
func (c *mendHistoryCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMend(ctx, o, std, func(client plannerv1.MendServiceClient) error {
		got, err := client.ReadStayHistory(ctx, &plannerv1.ReadStayHistoryRequest{DogCode: c.Dog})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printHistory(std.out, got)
		return nil
	})
}

// stayWords is a stay in one line.
func stayWords(s *plannerv1.Stay) string {
	return fmt.Sprintf("%s run %s with %s, %s to %s, %s", s.GetSiteCode(), s.GetRunCode(), s.GetTrainerCode(), s.GetArrival(), s.GetGraduation(), s.GetState())
}

// printExtensions writes the choices, the best first. inFull adds all that one choice touches.
func printExtensions(out io.Writer, o *Options, p *plannerv1.PreviewExtensionResponse, inFull bool) {
	fmt.Fprintf(out, "%s %s: %s\n", p.GetDogCode(), p.GetDogName(), stayWords(p.GetStay()))
	if len(p.GetChoices()) > 0 {
		fmt.Fprintln(out, "\nGraduation days that can be chosen, the best first; nothing is changed yet:")
		t := newTable(out, "graduation", "nights more", "other stays moved", "owners notice", "minutes over", "handovers of places", "fingerprint")
		for _, e := range p.GetChoices() {
			t.AppendRow(table.Row{e.GetGraduation(), e.GetAddedNights(), movedWords(e.GetRunMoves()), noticedOf(e.GetRunMoves()), e.GetOverMinutesTotal(),
				fmt.Sprintf("%d of %d", e.GetHandovers(), e.GetHandoverPlaces()), e.GetFingerprint()})
		}
		t.Render()
	}
	if inFull {
		for _, e := range p.GetChoices() {
			printExtension(out, e)
		}
	}
	if len(p.GetRefused()) > 0 {
		fmt.Fprintln(out, "\nDays that cannot be chosen:")
		printRefused(out, p.GetRefused())
	}
	if len(p.GetChoices()) == 0 {
		return
	}
	best := p.GetChoices()[0]
	words := fmt.Sprintf("mend extend %s --to %s", p.GetDogCode(), best.GetGraduation())
	if inFull {
		fmt.Fprintf(out, "\nThis does it, unless anything has changed meanwhile:\n%s\n", o.command(words+" --commit "+best.GetFingerprint()))
		return
	}
	fmt.Fprintf(out, "\nAll that one choice touches:\n%s\n", o.command(words))
}

// printExtension writes what one choice touches.
func printExtension(out io.Writer, e *plannerv1.Extension) {
	printRunMoves(out, e.GetRunMoves())
	if len(e.GetOverMinutes()) > 0 {
		fmt.Fprintln(out, "\nMinutes beyond what there are:")
		t := newTable(out, "day", "of", "minutes")
		for _, m := range e.GetOverMinutes() {
			who := m.GetTrainerCode()
			if who == "" {
				who = "all trainers of the site together"
			}
			t.AppendRow(table.Row{m.GetDay(), who, m.GetMinutes()})
		}
		t.Render()
	}
	fmt.Fprintln(out)
	for _, note := range e.GetNotes() {
		printSentence(out, "- %s", note)
	}
}

func printRunMoves(out io.Writer, moves []*plannerv1.RunMove) {
	if len(moves) == 0 {
		return
	}
	fmt.Fprintln(out, "\nStays that get another run; site, days and trainer stay as promised:")
	t := newTable(out, "request", "dog", "arrival", "graduation", "from", "to", "what the owner notices")
	for _, m := range moves {
		t.AppendRow(table.Row{m.GetRequestCode(), m.GetDogCode() + " " + m.GetDogName(), m.GetArrival(), m.GetGraduation(), m.GetFromRun(), m.GetToRun(),
			text.WrapSoft(noticeWords(m), 30)})
	}
	t.Render()
}

func noticeWords(m *plannerv1.RunMove) string {
	if m.GetOwnerSees() == "" {
		return "nothing"
	}
	return m.GetOwnerSees()
}

// printRefused lists days with the reason against them.
func printRefused(out io.Writer, refused []*plannerv1.RefusedDays) {
	t := newTable(out, "days", "why not", "what would help")
	for _, r := range refused {
		days := r.GetFirstDay()
		if r.GetLastDay() != r.GetFirstDay() {
			days += " to " + r.GetLastDay()
		}
		t.AppendRow(table.Row{days, text.WrapSoft(r.GetReason(), 48), text.WrapSoft(r.GetRemedy(), 34)})
	}
	t.Render()
}

func movedWords(moves []*plannerv1.RunMove) string {
	if len(moves) == 0 {
		return "none"
	}
	words := make([]string, len(moves))
	for i, m := range moves {
		words[i] = m.GetRequestCode()
	}
	return strings.Join(words, ", ")
}

func noticedOf(moves []*plannerv1.RunMove) (n int) {
	for _, m := range moves {
		if m.GetOwnerSees() != "" {
			n++
		}
	}
	return n
}

func printExtended(out io.Writer, d *plannerv1.ExtendStayResponse) {
	fmt.Fprintf(out, "Done: %s stays until %s (%s).\n", d.GetStay().GetRequestCode(), d.GetStay().GetGraduation(), stayWords(d.GetStay()))
	printExtension(out, d.GetExtension())
}

func printHistory(out io.Writer, h *plannerv1.ReadStayHistoryResponse) {
	if len(h.GetChanges()) == 0 {
		fmt.Fprintln(out, "Nothing was ever promised to it.")
		return
	}
	t := newTable(out, "when", "who", "stay", "why")
	for _, c := range h.GetChanges() {
		t.AppendRow(table.Row{c.GetChangedAt().AsTime().Format("2006-01-02 15:04Z"), c.GetChangedBy(), text.WrapSoft(stayWords(c.GetAfter()), 44), text.WrapSoft(c.GetReason(), 36)})
	}
	t.Render()
}
