package main

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/apperr"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

type handoverCmd struct {
	List    handoverListCmd    `cmd:"" help:"List a site's appointments of some days."`
	Show    handoverShowCmd    `cmd:"" help:"Show an appointment with the times that are offered, its lessons and its history."`
	Offer   handoverOfferCmd   `cmd:"" help:"Give a stay its handover appointment, or offer other times beside the one it has."`
	Confirm handoverConfirmCmd `cmd:"" help:"Note that the owner will come."`
	Move    handoverMoveCmd    `cmd:"" help:"Give an appointment another time, which the owner confirms anew."`
	Cancel  handoverCancelCmd  `cmd:"" help:"Cancel an appointment."`
	Late    handoverLateCmd    `cmd:"" help:"Note that the owner will be late, and see whom that keeps waiting."`
	Missed  handoverMissedCmd  `cmd:"" help:"Note that the owner did not come, and offer the next times."`
	Held    handoverHeldCmd    `cmd:"" help:"Note that an appointment was held, and book the lessons that follow."`
	Lesson  handoverLessonCmd  `cmd:"" help:"Book a lesson after the stay, as agreed with the owner."`
	Arrange handoverArrangeCmd `cmd:"" help:"Give every graduating dog of a month its time, and see for whom there is none and why."`
	Remind  handoverRemindCmd  `cmd:"" help:"Show or set when reminders and other letters to owners go."`
	Link    handoverLinkCmd    `cmd:"" help:"Make a private link to the owner's page, and print it this once; or shut those that there are."`
}

// withHandovers runs a command on appointments, of this process or of --server.
func withHandovers(ctx context.Context, o *Options, std streams, do func(client handoverv1.HandoverServiceClient) error) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(handoverv1.NewHandoverServiceClient(a.conn))
}

// showReply prints a reply as JSON or in words.
func showReply[M proto.Message](o *Options, std streams, reply M, err error, words func(M)) error {
	if err != nil {
		return err
	}
	if o.JSON {
		return printJSON(std.out, reply)
	}
	words(reply)
	return nil
}

// Which names an appointment.
type Which struct {
	Which string `arg:"" help:"Code of the dog or of its request, or ID of an appointment."`
}

// When says when, with whom and where.
type When struct {
	Minutes int32  `help:"Length in minutes; what is usual at the site when it is left out." placeholder:"N"`
	Trainer string `help:"Code of the trainer; that of the stay when it is left out." placeholder:"CODE"`
	Area    string `help:"Code of the area in which skills are shown." placeholder:"CODE"`
	Gate    string `help:"Gate at which the owner arrives." placeholder:"NAME"`
}

// at makes a time that begins as clocks at the site show it.
func (w When) at(starts string) *handoverv1.Time {
	return &handoverv1.Time{Starts: starts, Minutes: w.Minutes, TrainerCode: w.Trainer, AreaCode: w.Area, Gate: w.Gate}
}

func (w When) each(starts []string) []*handoverv1.Time {
	out := make([]*handoverv1.Time, len(starts))
	for i, s := range starts {
		out[i] = w.at(s)
	}
	return out
}

type handoverListCmd struct {
	Site string `required:"" help:"Code of the site." placeholder:"CODE"`
	From string `required:"" help:"First day, written 2027-03-01." placeholder:"DAY"`
	To   string `help:"Last day; the first one when it is left out." placeholder:"DAY"`
	All  bool   `help:"Those that were held, missed and cancelled as well."`
}

// Run lists appointments.
func (c *handoverListCmd) Run(ctx context.Context, o *Options, std streams) error {
	if c.To == "" {
		c.To = c.From
	}
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		got, err := client.ListHandovers(ctx, &handoverv1.ListHandoversRequest{SiteCode: c.Site, FirstDay: c.From, LastDay: c.To, WithEnded: c.All})
		return showReply(o, std, got, err, func(got *handoverv1.ListHandoversResponse) { printHandovers(std.out, o, c.Site, got.GetAppointments()) })
	})
}

type handoverShowCmd struct{ Which }

// Run shows an appointment.
func (c *handoverShowCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		got, err := client.ReadHandover(ctx, &handoverv1.ReadHandoverRequest{Which: c.Which.Which})
		return showReply(o, std, got, err, func(got *handoverv1.ReadHandoverResponse) { printHandover(std.out, got) })
	})
}

type handoverOfferCmd struct {
	Which
	At string   `help:"When it begins, as clocks at the site show it: '2027-03-20 10:00'. Left out, the times of --or are added to an appointment that there is." placeholder:"TIME"`
	Or []string `help:"Another time that the owner may choose; may be given again." placeholder:"TIME" sep:"none"`
	When
	Why string `help:"Why, for the history."`
}

// Run makes an appointment, or offers times.
func (c *handoverOfferCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		req := &handoverv1.OfferHandoverRequest{Which: c.Which.Which, Others: c.each(c.Or), Reason: c.Why}
		if c.At != "" {
			req.Time = c.at(c.At)
		}
		got, err := client.OfferHandover(ctx, req)
		return showReply(o, std, got, err, func(got *handoverv1.OfferHandoverResponse) {
			printAppointment(std.out, got.GetAppointment())
			printOffers(std.out, got.GetOffers())
		})
	})
}

type handoverConfirmCmd struct {
	Which
	Why string `help:"Why, for the history." default:"told on the telephone"`
}

// Run confirms an appointment.
func (c *handoverConfirmCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		got, err := client.ConfirmHandover(ctx, &handoverv1.ConfirmHandoverRequest{Which: c.Which.Which, Reason: c.Why})
		return showReply(o, std, got, err, func(got *handoverv1.ConfirmHandoverResponse) { printAppointment(std.out, got.GetAppointment()) })
	})
}

type handoverMoveCmd struct {
	Which
	At string   `required:"" help:"When it begins, as clocks at the site show it: '2027-03-20 10:00'." placeholder:"TIME"`
	Or []string `help:"Another time that the owner may choose instead; may be given again." placeholder:"TIME" sep:"none"`
	When
	NotReady bool   `help:"It is moved because the dog needs more days."`
	Why      string `help:"Why, for the history."`
}

// Run moves an appointment.
func (c *handoverMoveCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		got, err := client.MoveHandover(ctx, &handoverv1.MoveHandoverRequest{Which: c.Which.Which, Time: c.at(c.At), Others: c.each(c.Or), NotReady: c.NotReady, Reason: c.Why})
		return showReply(o, std, got, err, func(got *handoverv1.MoveHandoverResponse) { printAppointment(std.out, got.GetAppointment()) })
	})
}

type handoverCancelCmd struct {
	Which
	Why string `required:"" help:"Why, for the history."`
}

// Run cancels an appointment.
func (c *handoverCancelCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		got, err := client.CancelHandover(ctx, &handoverv1.CancelHandoverRequest{Which: c.Which.Which, Reason: c.Why})
		return showReply(o, std, got, err, func(got *handoverv1.CancelHandoverResponse) { printAppointment(std.out, got.GetAppointment()) })
	})
}

type handoverLateCmd struct {
	Which
	Minutes int32  `required:"" help:"By how many minutes, 1 to 240." placeholder:"N"`
	Why     string `help:"Why, for the history."`
}

// Run notes a delay.
func (c *handoverLateCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		got, err := client.ReportLate(ctx, &handoverv1.ReportLateRequest{Which: c.Which.Which, Minutes: c.Minutes, Reason: c.Why})
		return showReply(o, std, got, err, func(got *handoverv1.ReportLateResponse) {
			printAppointment(std.out, got.GetAppointment())
			for _, next := range got.GetRunsInto() {
				fmt.Fprintf(std.out, "That runs into the appointment of %s %s at %s with the same trainer.\n", next.GetDogCode(), next.GetDogName(), next.GetSlot().GetStarts())
			}
		})
	})
}

type handoverMissedCmd struct {
	Which
	Next []string `help:"A next time that the owner may choose; may be given again." placeholder:"TIME" sep:"none"`
	When
	KeepRun bool   `help:"Keep the dog's run as well, until the next day on which the stay can end."`
	Why     string `help:"Why, for the history." default:"the owner did not come"`
}

// Run notes that an owner did not come.
func (c *handoverMissedCmd) Run(ctx context.Context, o *Options, std streams) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	got, err := handoverv1.NewHandoverServiceClient(a.conn).ReportMissed(ctx, &handoverv1.ReportMissedRequest{Which: c.Which.Which, Next: c.each(c.Next), Reason: c.Why})
	err = showReply(o, std, got, err, func(got *handoverv1.ReportMissedResponse) {
		printAppointment(std.out, got.GetAppointment())
		printOffers(std.out, got.GetOffers())
	})
	if err != nil {
		return err
	}
	dog := got.GetAppointment().GetDogCode()
	if !c.KeepRun {
		fmt.Fprintf(o.notes(std), "The dog stays overnight. What keeping its run costs: %s\n", o.command("mend extend "+dog))
		return nil
	}
	return keepRun(ctx, plannerv1.NewMendServiceClient(a.conn), o, std, dog, c.Why)
}

// keepRun extends a stay to the earliest day on which it can end.
func keepRun(ctx context.Context, client plannerv1.MendServiceClient, o *Options, std streams, dog, why string) error {
	p, err := client.PreviewExtension(ctx, &plannerv1.PreviewExtensionRequest{DogCode: dog, Days: 14})
	if err != nil {
		return fmt.Errorf("that the owner did not come is noted; keep the run: %w", err)
	}
	if len(p.GetChoices()) == 0 {
		return apperr.Preconditionf("RUN_NOT_KEPT", "that the owner did not come is noted, but the stay can end on none of the next 14 days: %s says why", o.command("mend extend "+dog))
	}
	next := slices.MinFunc(p.GetChoices(), func(a, b *plannerv1.Extension) int { return strings.Compare(a.GetGraduation(), b.GetGraduation()) })
	done, err := client.ExtendStay(ctx, &plannerv1.ExtendStayRequest{DogCode: dog, Graduation: next.GetGraduation(), Fingerprint: next.GetFingerprint(), Reason: why})
	if err != nil {
		return fmt.Errorf("that the owner did not come is noted; keep the run: %w", err)
	}
	printExtended(o.notes(std), done)
	return nil
}

type handoverHeldCmd struct {
	Which
	Lesson []string `help:"A lesson to book with it, as clocks at the site show it; may be given again." placeholder:"TIME" sep:"none"`
	Note   string   `help:"Note, for the history."`
}

// Run notes that an appointment was held.
func (c *handoverHeldCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		got, err := client.ReportHeld(ctx, &handoverv1.ReportHeldRequest{Which: c.Which.Which, Lessons: When{}.each(c.Lesson), Reason: c.Note})
		return showReply(o, std, got, err, func(got *handoverv1.ReportHeldResponse) {
			printAppointment(std.out, got.GetAppointment())
			for _, lesson := range got.GetLessons() {
				printAppointment(std.out, lesson)
			}
		})
	})
}

type handoverLessonCmd struct {
	Which
	At string `required:"" help:"When it begins, as clocks at the site show it: '2027-04-03 10:00'." placeholder:"TIME"`
	When
	Note string `help:"Note, for the history." default:"agreed with the owner"`
}

// Run books a lesson.
func (c *handoverLessonCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		got, err := client.BookLesson(ctx, &handoverv1.BookLessonRequest{Which: c.Which.Which, Time: c.at(c.At), Reason: c.Note})
		return showReply(o, std, got, err, func(got *handoverv1.BookLessonResponse) { printAppointment(std.out, got.GetLesson()) })
	})
}

type handoverLinkCmd struct {
	Which
	Shut bool `help:"Shut all private links of the stay instead."`
}

// Run makes a link, or shuts all.
func (c *handoverLinkCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withHandovers(ctx, o, std, func(client handoverv1.HandoverServiceClient) error {
		if c.Shut {
			got, err := client.ShutLinks(ctx, &handoverv1.ShutLinksRequest{Which: c.Which.Which})
			return showReply(o, std, got, err, func(got *handoverv1.ShutLinksResponse) {
				fmt.Fprintf(std.out, "%d private links of the stay are shut. The next letter has a new one.\n", len(got.GetLinks()))
			})
		}
		got, err := client.MakeLink(ctx, &handoverv1.MakeLinkRequest{Which: c.Which.Which})
		return showReply(o, std, got, err, func(got *handoverv1.MakeLinkResponse) {
			fmt.Fprintf(std.out, "The owner's page, whose address cannot be shown again:\n\n  %s\n\n", got.GetUrl())
			fmt.Fprintf(std.out, "Whoever has it may answer for the owner, until %s: give it to nobody else.\n", got.GetLink().GetExpiresAt().AsTime().Format("2006-01-02"))
			fmt.Fprintf(std.out, "This shuts it: %s\n", o.command("handover link --shut "+c.Which.Which))
		})
	})
}
