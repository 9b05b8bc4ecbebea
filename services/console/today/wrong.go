package today

import (
	"fmt"
	"strings"

	"github.com/longlead/longlead/services/console/frame"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// finding is one thing that is wrong or tight.
type finding struct {
	// Lead says what it is, Text what to do.
	Lead, Text string
	// More are further lines.
	More []string
	// Grave ones are marked in the colour of what is refused.
	Grave bool
}

// findWrong lists what is wrong or tight, the gravest first.
func (d *dayView) findWrong() {
	d.addIsolation()
	if d.Plan != nil {
		d.addUnseen()
		d.addDrops()
	}
	for _, a := range d.Conditions.GetAway() {
		until := ""
		if a.GetLastDay() != d.Day {
			until = " until " + frame.Day(a.GetLastDay())
		}
		d.add("Away.", fmt.Sprintf("%s (%s): %s%s.", a.GetTrainerName(), a.GetTrainerCode(), a.GetKind(), until))
	}
	for _, c := range d.Conditions.GetClosures() {
		d.add("Closed.", fmt.Sprintf("%s from %s to %s: %s.", c.GetAreaCode(), c.GetFrom(), c.GetTo(), c.GetReason()))
	}
	d.addHeat()
	for _, note := range d.Plan.GetNotes() {
		if !isHeat(note) {
			d.Know = append(d.Know, note)
		}
	}
}

func (d *dayView) add(lead, text string, more ...string) {
	d.Wrong = append(d.Wrong, finding{Lead: lead, Text: text, More: more})
}

func (d *dayView) addIsolation() {
	for _, x := range d.Isolation.GetIsolated() {
		text := fmt.Sprintf("%s (%s) in run %s since %s; it may come out on %s if a veterinarian agrees. It has no sessions. Who goes to it, and in what order, a veterinarian says.",
			x.GetDogName(), x.GetDogCode(), x.GetRunCode(), frame.Day(x.GetFrom()), frame.Day(x.GetOutOn()))
		d.Wrong = append(d.Wrong, finding{Lead: "Isolated.", Text: text, Grave: true})
	}
	var watched []string
	for _, x := range d.Isolation.GetWatched() {
		watched = append(watched, fmt.Sprintf("%s (%s), run %s, until %s: %s", x.GetDogName(), x.GetDogCode(), x.GetRunCode(), frame.Day(x.GetWatchedUntil()), strings.Join(x.GetBecause(), "; ")))
	}
	if len(watched) > 0 {
		d.add("Watch.", frame.Count(len(watched), "dog was", "dogs were")+" near one that is isolated. Any cough, discharge, tiredness or lost appetite: a veterinarian, at once.", watched...)
	}
	for _, x := range d.Isolation.GetHolds() {
		where := "the whole site"
		if x.GetRow() != "" {
			where = "row " + x.GetRow()
		}
		d.add("No arrivals.", fmt.Sprintf("%s takes nobody in until %s, because of %s.", where, frame.Day(x.GetUntil()), x.GetDogCode()))
	}
}

// addUnseen tells of arrivals and handovers that nobody can see to.
func (d *dayView) addUnseen() {
	for _, x := range d.Plan.GetDuties() {
		if x.GetTrainerCode() == "" {
			kind := map[string]string{"intake": "the arrival", "handover": "the handover"}[x.GetKind()]
			d.Wrong = append(d.Wrong, finding{Lead: "Nobody for it.", Grave: true,
				Text: fmt.Sprintf("%s of %s (%s) at %s has nobody to see to it: find somebody, or move it.", kind, d.Named(x.GetDogCode()), x.GetDogCode(), x.GetStarts())})
		}
	}
}

func (d *dayView) addDrops() {
	var more []string
	for _, x := range d.Plan.GetDrops() {
		more = append(more, fmt.Sprintf("%s (%s), session %d: %s. %s.", x.GetDogName(), x.GetDogCode(), x.GetSession(), strings.TrimSuffix(x.GetReason(), "."), strings.TrimSuffix(x.GetRemedy(), ".")))
	}
	if len(more) > 0 {
		d.add("Not held.", frame.Count(len(more), "session of the day's is", "sessions of the day's are")+" left out, each with why, and what would help.", more...)
	}
}

func isHeat(note string) bool {
	return strings.Contains(note, "eat") && (strings.Contains(note, "Heat") || strings.Contains(note, "heat index") || strings.Contains(note, "from heat"))
}

// addHeat says when work outdoors is closed. The cautions are those that the plan was given.
func (d *dayView) addHeat() {
	var all, risky []*dayplanv1.HeatHour
	most, source := int32(0), ""
	for _, h := range d.Conditions.GetHeat() {
		if h.GetClosed() {
			all = append(all, h)
		}
		if h.GetClosedSensitive() {
			risky = append(risky, h)
		}
		if h.GetFeltTenthsF() > most {
			most, source = h.GetFeltTenthsF(), h.GetSource()
		}
	}
	if len(risky) == 0 {
		for _, note := range d.Plan.GetNotes() {
			if isHeat(note) {
				d.Know = append(d.Know, note)
			}
		}
		return
	}
	text := fmt.Sprintf("Work outdoors is closed %s; for dogs with the lower limit %s. It feels like %.1f F at most; the forecast is from: %s. By the heat index of the US National Weather Service, and dogs sweat little: look at the sky and a thermometer as well.",
		spans(all), spans(risky), float64(most)/10, source)
	var more []string
	for _, note := range d.Plan.GetNotes() {
		// Of a plan that was made before the forecast came, what it says of having none is over.
		if !strings.HasPrefix(note, "Heat was not planned for") && (isHeat(note) || strings.Contains(note, "veterinarian and local codes")) {
			more = append(more, note)
		}
	}
	if len(more) == 0 {
		more = []string{"Stop at heavy panting, drooling, stumbling or reluctance, cool the dog and call a veterinarian. Limits are settings of the site, not medical advice: a veterinarian and local codes go before them."}
	}
	d.add("Heat.", text, more...)
}

// spans writes hours, those that touch as one: "13:00 to 16:00".
func spans(hours []*dayplanv1.HeatHour) string {
	if len(hours) == 0 {
		return "for no dog at large"
	}
	var out []string
	for i := 0; i < len(hours); i++ {
		from, to := hours[i].GetFrom(), hours[i].GetTo()
		for i+1 < len(hours) && hours[i+1].GetFrom() == to {
			i++
			to = hours[i].GetTo()
		}
		out = append(out, from+" to "+to)
	}
	return "from " + strings.Join(out, ", ")
}
