package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"github.com/longlead/longlead/services/mail"

	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

// letterStates are the states in the order in which people look at them: what needs somebody first.
var letterStates = []mail.State{mail.Bounced, mail.Refused, mail.Expired, mail.Waiting, mail.Sending, mail.Sent, mail.Superseded}

// letterState adds what a word alone does not say.
func letterState(l *mailv1.Letter) string {
	state := l.GetState()
	if l.GetAttempts() > 1 {
		state += fmt.Sprintf(" (%d attempts)", l.GetAttempts())
	}
	return state
}

func printLetters(out io.Writer, o *Options, got *mailv1.ListLettersResponse) {
	var counts []string
	for _, s := range letterStates {
		if n := got.GetCounts()[string(s)]; n > 0 {
			counts = append(counts, fmt.Sprintf("%d %s", n, s))
		}
	}
	if len(counts) == 0 {
		fmt.Fprintln(out, "No letter was put yet.")
		return
	}
	fmt.Fprintf(out, "Of all letters: %s\n", strings.Join(counts, ", "))
	if len(got.GetLetters()) == 0 {
		fmt.Fprintln(out, "None is as you ask.")
		return
	}
	t := newTable(out, "letter", "put", "kind", "to", "state")
	for _, l := range got.GetLetters() {
		t.AppendRow(table.Row{l.GetId(), l.GetPutAt().AsTime().Format("2006-01-02 15:04Z"), l.GetKind(), text.Trim(l.GetToAddress(), 26), text.WrapSoft(letterState(l), 12)})
	}
	t.Render()
	fmt.Fprintf(out, "One of them: %s\n", o.command("mail show LETTER"))
	if got.GetCounts()[string(mail.Refused)]+got.GetCounts()[string(mail.Bounced)] > 0 {
		printSentence(out, "Refused and bounced letters reached nobody: call the owner, correct the address, and send the letter again: %s", o.command("mail resend LETTER --to ADDRESS"))
	}
}

func printLetter(out io.Writer, o *Options, got *mailv1.ReadLetterResponse) {
	l := got.GetLetter()
	fmt.Fprintf(out, "Letter %s: %s\n", l.GetId(), letterState(l))
	if l.GetNote() != "" {
		printSentence(out, "%s.", upperFirst(l.GetNote()))
	}
	if at := l.GetNextAt(); at != nil {
		fmt.Fprintf(out, "Next attempt: %s\n", at.AsTime().Format("2006-01-02 15:04Z"))
	}
	fmt.Fprintf(out, "Kind %s, about %s, version %d", l.GetKind(), l.GetKey(), l.GetVersion())
	if l.GetCopy() > 0 {
		fmt.Fprintf(out, ", sent again (%d)", l.GetCopy())
	}
	fmt.Fprintf(out, "\nMessage-ID: <%s>\n", l.GetMessageId())
	if l.GetMethod() != "" {
		fmt.Fprintf(out, "With a calendar entry (%s): %s\n", l.GetMethod(), o.command("mail show "+l.GetId()+" --part calendar"))
	}
	if len(got.GetAttempts()) > 0 {
		fmt.Fprintln(out)
		t := newTable(out, "when", "what", "the server said")
		for _, a := range got.GetAttempts() {
			t.AppendRow(table.Row{a.GetAt().AsTime().Format("2006-01-02 15:04:05Z"), a.GetOutcome(), text.WrapSoft(a.GetAnswer(), 80)})
		}
		t.Render()
	}
	fmt.Fprintf(out, "\nTo: %s <%s>\nSubject: %s\n\n%s", l.GetToName(), l.GetToAddress(), l.GetSubject(), got.GetText())
}

func printBounces(out io.Writer, o *Options, results []bounceResult) {
	if len(results) == 0 {
		fmt.Fprintln(out, "No file is there.")
		return
	}
	noted := 0
	for _, r := range results {
		if r.Problem != "" {
			printSentence(out, "%s: %s", r.File, r.Problem)
			continue
		}
		noted++
		printSentence(out, "%s: %s, letter %s to %s: %s", r.File, r.Outcome, r.Letter, r.To, r.Answer)
	}
	fmt.Fprintf(out, "%d of %d noted. What came back: %s\n", noted, len(results), o.command("mail list --state bounced"))
}

func printLetterhead(out io.Writer, o *Options, h *mailv1.Letterhead) {
	phone, quiet := h.GetPhone(), h.GetQuietFrom()+" to "+h.GetQuietUntil()+" by the owner's clock"
	if phone == "" {
		phone = "none"
	}
	if h.GetQuietFrom() == h.GetQuietUntil() {
		quiet = "none"
	}
	fmt.Fprintf(out, "From:         %s <%s>\nTelephone:    %s\nQuiet hours:  %s\n", h.GetName(), h.GetAddress(), phone, quiet)
	if h.GetSetAt() == nil {
		printSentence(out, "Nobody has set it yet, so letters go to a folder only: %s", o.command(`mail letterhead --name NAME --address ADDRESS --phone NUMBER`))
		return
	}
	fmt.Fprintf(out, "Set by %s on %s\n", h.GetSetBy(), h.GetSetAt().AsTime().Format("2006-01-02"))
}

func printLetterKinds(out io.Writer, o *Options, kinds []*mailv1.LetterKind) {
	t := newTable(out, "kind", "sent when", "calendar", "words")
	for _, k := range kinds {
		entry, whose := "", "built in"
		if k.GetCalendar() {
			entry = "yes"
		}
		if k.GetSavedBy() != "" {
			whose = fmt.Sprintf("%s, %s", k.GetSavedBy(), k.GetSavedAt().AsTime().Format("2006-01-02"))
		}
		t.AppendRow(table.Row{k.GetKind(), k.GetMeaning(), entry, whose})
	}
	t.Render()
	fmt.Fprintf(out, "A text, for changing it: %s\n", o.command("mail template show KIND")+" > FILE")
}

// printFields lists what a template may use.
func printFields(out io.Writer, k *mailv1.LetterKind) {
	fmt.Fprintln(out)
	t := newTable(out, "field", "what it holds", "always", "for example")
	for _, f := range k.GetFields() {
		name, always, example := "{{."+f.GetName()+"}}", "", ""
		if f.GetRequired() {
			always = "yes"
		}
		if f.GetList() {
			name = "{{range ." + f.GetName() + "}}"
		}
		if len(f.GetExample()) > 0 {
			example = f.GetExample()[0]
		}
		t.AppendRow(table.Row{name, f.GetMeaning(), always, text.Trim(example, 40)})
	}
	t.Render()
	printSentence(out, "%s", "A field that is not always there stands between {{if .field}} and {{end}}; a list between {{range .list}} and {{end}}, where {{.}} is an item. "+
		"A blank line ends a paragraph, \"# \" begins a heading, \"- \" an item of a list. Both parts of the letter, text and HTML, are made from this one text.")
}
