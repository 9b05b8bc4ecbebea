package main

import (
	"context"
	"fmt"
	"time"

	"github.com/longlead/longlead/testdata/scenario"

	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

// lettersPatience is how long the demo waits for its letters to be written.
const lettersPatience = 30 * time.Second

// arrangeMonth gives the month's graduates their handover times, waits until their letters are written, and says where they and an owner's page
// are.
func (c *demoCmd) arrangeMonth(ctx context.Context, a *app, o *Options, std streams) error {
	sites, err := facilityv1.NewFacilityServiceClient(a.conn).ListSites(ctx, &facilityv1.ListSitesRequest{})
	if err != nil {
		return err
	}
	var with, without int32
	var example *graduationv1.Arranged
	client := graduationv1.NewGraduationServiceClient(a.conn)
	for _, site := range sites.GetSites() {
		got, err := client.ArrangeHandovers(ctx, &graduationv1.ArrangeHandoversRequest{SiteCode: site.GetCode(), Month: scenario.Month})
		if err != nil {
			return err
		}
		with, without = with+got.GetPlaced()+got.GetMoved()+got.GetKept(), without+got.GetMissing()
		for _, x := range got.GetArranged() {
			if example == nil && x.GetOffers() > 0 {
				example = x
			}
		}
	}
	out := o.notes(std)
	fmt.Fprintln(out)
	if with+without == 0 {
		printSentence(out, "No dog is to graduate in %s from today on.", scenario.Month)
		return nil
	}
	all := "each has a time for its handover, and its owner is written to"
	if without > 0 {
		all = fmt.Sprintf("%d have a time for their handover, and their owners are written to; for %d there is none", with, without)
	}
	printSentence(out, "%d dogs graduate in %s: %s. This says who, when and why not: %s", with+without, scenario.Month, all,
		o.command("handover arrange --preview --site TARN --month "+scenario.Month))
	if err := awaitLetters(ctx, a); err != nil {
		return err
	}
	if c.SMTP == "" {
		printSentence(out, "The letters lie in %s; a mail program opens them. %s lists them.", c.folder(o), "`"+o.command("mail list")+"`")
	}
	return c.showOwnersPage(ctx, a, example, o, std)
}

// awaitLetters waits until no letter waits, or patience ends: those that are held back go later.
func awaitLetters(ctx context.Context, a *app) error {
	client := mailv1.NewMailServiceClient(a.conn)
	for end := time.Now().Add(lettersPatience); time.Now().Before(end); {
		got, err := client.ListLetters(ctx, &mailv1.ListLettersRequest{Limit: 1})
		if err != nil || got.GetCounts()["waiting"]+got.GetCounts()["sending"] == 0 {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(100 * time.Millisecond):
		}
	}
	return nil
}

// showOwnersPage makes a private link for the owner of one dog. It opens while the demo serves.
func (c *demoCmd) showOwnersPage(ctx context.Context, a *app, example *graduationv1.Arranged, o *Options, std streams) error {
	if example == nil {
		return nil
	}
	link, err := handoverv1.NewHandoverServiceClient(a.conn).MakeLink(ctx, &handoverv1.MakeLinkRequest{Which: example.GetRequestCode()})
	if err != nil {
		return err
	}
	printSentence(o.notes(std), "The page of the owner of %s %s, who may confirm %s %s or choose another time: %s", example.GetDogCode(), example.GetDogName(), example.GetDay(), example.GetStarts(),
		link.GetUrl())
	return nil
}
