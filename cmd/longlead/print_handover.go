package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
)

// handoverStates say how an appointment stands.
var handoverStates = map[string]string{"offered": "waits for the owner", "confirmed": "confirmed", "asked": "owner asks for another time", "late": "owner is late",
	"missed": "owner did not come", "held": "held", "cancelled": "cancelled"}

// slotWords is a time with trainer and place on one line.
func slotWords(s *handoverv1.Slot) string {
	_, ends, _ := strings.Cut(s.GetEnds(), " ")
	words := fmt.Sprintf("%s to %s with %s", s.GetStarts(), ends, s.GetTrainerCode())
	if s.GetAreaCode() != "" {
		words += " in " + s.GetAreaCode()
	}
	return words + ", " + s.GetGate()
}

func printAppointment(out io.Writer, a *handoverv1.Appointment) {
	printSentence(out, "%s of %s %s (%s) at %s: %s, %s.", upperFirst(a.GetPurpose()), a.GetDogCode(), a.GetDogName(), a.GetRequestCode(), a.GetSiteCode(), slotWords(a.GetSlot()),
		handoverStates[a.GetState()])
	if a.GetWish() != "" {
		printSentence(out, "The owner writes: %s", a.GetWish())
	}
	if a.GetLateMinutes() > 0 {
		fmt.Fprintf(out, "About %d minutes late.\n", a.GetLateMinutes())
	}
}

func printOffers(out io.Writer, offers []*handoverv1.Slot) {
	if len(offers) == 0 {
		return
	}
	fmt.Fprintln(out, "The owner may choose instead:")
	for _, s := range offers {
		fmt.Fprintf(out, "- %s\n", slotWords(s))
	}
}

func printHandovers(out io.Writer, o *Options, site string, all []*handoverv1.Appointment) {
	if len(all) == 0 {
		fmt.Fprintf(out, "%s has no appointment on these days. This makes one: %s\n", site, o.command("handover offer DOG --at TIME"))
		return
	}
	t := newTable(out, "begins", "ends", "what", "dog", "trainer", "area", "gate", "state")
	for _, a := range all {
		_, ends, _ := strings.Cut(a.GetSlot().GetEnds(), " ")
		t.AppendRow(table.Row{a.GetSlot().GetStarts(), ends, a.GetPurpose(), a.GetDogCode() + " " + text.Trim(a.GetDogName(), 12), a.GetSlot().GetTrainerCode(), a.GetSlot().GetAreaCode(),
			a.GetSlot().GetGate(), handoverStates[a.GetState()]})
	}
	t.Render()
	fmt.Fprintf(out, "Times of %s.\n", all[0].GetZone())
}

func printHandover(out io.Writer, got *handoverv1.ReadHandoverResponse) {
	printAppointment(out, got.GetAppointment())
	fmt.Fprintf(out, "Times of %s. ID %s\n", got.GetAppointment().GetZone(), got.GetAppointment().GetId())
	printOffers(out, got.GetOffers())
	for _, lesson := range got.GetLessons() {
		printAppointment(out, lesson)
	}
	fmt.Fprintln(out)
	t := newTable(out, "when", "who", "what", "begins then", "why")
	for _, c := range got.GetChanges() {
		t.AppendRow(table.Row{c.GetChangedAt().AsTime().Format("2006-01-02 15:04Z"), c.GetChangedBy(), c.GetAct(), c.GetStarts(), text.WrapSoft(c.GetWhy(), 40)})
	}
	t.Render()
	open := 0
	for _, l := range got.GetLinks() {
		if l.GetShutAt() == nil {
			open++
		}
	}
	fmt.Fprintf(out, "%d private links were made, %d of them are not shut.\n", len(got.GetLinks()), open)
}
