package mail

import (
	"embed"
	"fmt"
	"slices"
	"strings"
)

// Kind is a kind of letter.
type Kind string

// The kinds of letter.
const (
	EnrolmentConfirmed Kind = "enrolment-confirmed"
	ArrivalReminder    Kind = "arrival-reminder"
	HandoverInvitation Kind = "handover-invitation"
	HandoverChanged    Kind = "handover-changed"
	HandoverCancelled  Kind = "handover-cancelled"
	HandoverWeek       Kind = "handover-week"
	HandoverDay        Kind = "handover-day"
	HandoverMissed     Kind = "handover-missed"
	PracticePlan       Kind = "practice-plan"
	FollowUpLesson     Kind = "follow-up-lesson"
)

// Field is something that a template may use.
type Field struct {
	Name string
	// Meaning says what it holds.
	Meaning string
	// Required says that a caller must fill it.
	Required bool
	// List says that it holds several texts.
	List bool
	// Example is what a preview shows: one text, or the items of a list.
	Example []string
	// Own says that it is filled from the letterhead, not by the caller.
	Own bool
}

// KindInfo is what there is to know of a kind.
type KindInfo struct {
	Kind Kind
	// Meaning says when it is sent.
	Meaning string
	Fields  []Field
	// Invites says that a calendar entry comes with it.
	Invites bool
	// instead is the kind that is sent where no letter of the key ever went out: nobody can be told of a change of what he does not know.
	instead Kind
}

func text(name, meaning, example string) Field {
	return Field{Name: name, Meaning: meaning, Example: []string{example}}
}

func needed(name, meaning, example string) Field {
	f := text(name, meaning, example)
	f.Required = true
	return f
}

func list(name, meaning string, example ...string) Field {
	return Field{Name: name, Meaning: meaning, List: true, Example: example}
}

// common are the fields of every kind.
func common() []Field {
	school, phone := text("school", "name on the letterhead", "Example School"), text("phone", "telephone number on the letterhead", "555-0100")
	school.Own, phone.Own = true, true
	return []Field{
		needed("owner", "name of the owner", "Freya Kahale"), needed("dog", "name of the dog", "Biscuit"), needed("site", "name of the site", "Tarnholt Yard"), school, phone,
	}
}

var (
	fieldAddress = text("address", "where the site is", "12 Mill Lane")
	fieldTrainer = needed("trainer", "name of the dog's trainer", "Noor")
	fieldBring   = list("bring", "what to bring", "A flat collar and a lead of two metres", "Treats that the dog likes")
	fieldShown   = list("shown", "what will be shown", "Walks on a loose lead past another dog", "Comes when called, from 20 metres")
	fieldWhen    = needed("when", "day and time at the site", "Friday, 26 March 2027, 14:00 to 15:30")
	fieldZone    = needed("zone", "name of the site's zone", "Mountain time (America/Denver)")
)

// visit are the fields of letters about a handover or a lesson.
func visit(more ...Field) []Field {
	fields := append(common(), fieldWhen, fieldZone, fieldTrainer,
		text("place", "where on the site", "Quiet room"), text("gate", "which gate", "East gate"), fieldAddress,
		text("minutes", "how long it takes, in minutes", "90"),
		text("link", "private page of the owner", "https://school.example/handover/EXAMPLE"),
		list("who", "who must come", "Everybody who will walk the dog"), fieldBring, list("leave", "what to leave at home", "Other dogs"), fieldShown,
		text("move", "how to ask for another time", "Choose another time on your page, or call us."))
	return append(fields, more...)
}

// Kinds lists the kinds of letter with what each may hold.
func Kinds() []KindInfo {
	arrival := []Field{needed("arrival", "arrival day", "Monday, 1 March 2027"), text("hours", "when the site takes dogs in", "9:00 to 11:00"), fieldAddress}
	return []KindInfo{
		{Kind: EnrolmentConfirmed, Meaning: "a stay was promised", Fields: slices.Concat(common(), arrival,
			[]Field{needed("graduation", "graduation day", "Friday, 26 March 2027"), needed("program", "name of the program", "Foundations"), fieldTrainer})},
		{Kind: ArrivalReminder, Meaning: "the dog arrives soon", Fields: slices.Concat(common(), arrival,
			[]Field{fieldBring, list("vaccines", "vaccinations of which no record is there", "Bordetella, valid until 26 March 2027 at least")})},
		{Kind: HandoverInvitation, Meaning: "a handover has a time", Fields: visit(), Invites: true},
		{Kind: HandoverChanged, Meaning: "a handover has another time or place", Invites: true, instead: HandoverInvitation,
			Fields: visit(text("before", "day and time as they were", "Friday, 26 March 2027, 10:00 to 11:30"), text("why", "why it was changed", "The trainer is ill."))},
		{Kind: HandoverCancelled, Meaning: "a handover or lesson does not take place", Invites: true, Fields: append(common(), fieldWhen, fieldZone,
			text("what", "what is cancelled; a handover where it is not said", "follow-up lesson"), text("why", "why", "Biscuit needs a few more days."),
			text("next", "what happens now", "We shall write to you with another time."))},
		{Kind: HandoverWeek, Meaning: "a handover is some days away, usually a week", Fields: visit()},
		{Kind: HandoverDay, Meaning: "a handover is close, usually tomorrow", Fields: visit()},
		{Kind: HandoverMissed, Meaning: "nobody came to the handover", Fields: visit(text("next", "the time that is offered next", "Saturday, 27 March 2027, 10:00 to 11:30")), Invites: true},
		{Kind: PracticePlan, Meaning: "the dog has gone home", Fields: append(common(), fieldTrainer,
			list("skills", "the skills that the dog was taught", "Loose lead: ten minutes on a quiet street", "Recall: five calls in the garden, on a long line"),
			text("link", "private page of the owner", "https://school.example/handover/EXAMPLE"))},
		{Kind: FollowUpLesson, Meaning: "a lesson after the stay has a time", Fields: visit(), Invites: true},
	}
}

// info finds a kind.
func info(kind Kind) (KindInfo, error) {
	for _, k := range Kinds() {
		if k.Kind == kind {
			return k, nil
		}
	}
	return KindInfo{}, fmt.Errorf("there is no kind of letter %q", kind)
}

func (k KindInfo) field(name string) (Field, bool) {
	at := slices.IndexFunc(k.Fields, func(f Field) bool { return f.Name == name })
	if at < 0 {
		return Field{}, false
	}
	return k.Fields[at], true
}

// names lists the names of the fields, for a remedy.
func (k KindInfo) names() string {
	var names []string
	for _, f := range k.Fields {
		names = append(names, f.Name)
	}
	return strings.Join(names, ", ")
}

//go:embed builtin/*.txt
var builtinFS embed.FS

// BuiltIn is the template that is built in for a kind.
func BuiltIn(kind Kind) (Template, error) {
	content, err := builtinFS.ReadFile("builtin/" + string(kind) + ".txt")
	if err != nil {
		return Template{}, fmt.Errorf("there is no built-in text for letters of the kind %q", kind)
	}
	return SplitTemplate(string(content))
}
