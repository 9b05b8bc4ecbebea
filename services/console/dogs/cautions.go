package dogs

import (
	"fmt"
	"strings"

	"github.com/longlead/longlead/services/console/frame"

	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
)

// caution is what to beware of; Head says in a word what it is.
type caution struct{ Head, Text string }

// cautionsOf lists what whoever handles the dog must know, the gravest first.
func cautionsOf(d *enrollmentv1.ReadDogResponse, today string) (out []caution) {
	add := func(head, format string, args ...any) { out = append(out, caution{head, fmt.Sprintf(format, args...)}) }
	switch d.GetWorkload().GetCareClass() {
	case "restricted":
		add("Restricted.", "Only those whom a qualified behaviour professional or the site lead has named handle this dog.")
	case "guarded":
		add("Guarded.", "Only experienced handlers take this dog out.")
	}
	if d.GetBiteLevel() != "" || len(d.GetBites()) > 0 {
		text := ""
		if d.GetBiteLevel() != "" {
			text = "Worst on record: level " + d.GetBiteLevel() + ". "
		}
		for _, b := range d.GetBites() {
			text += "Level " + b.GetLevel() + " on " + frame.LongDay(b.GetDay()) + note(b.GetNote()) + ". "
		}
		add("Bites.", "%sLocal law may ask for more; ask a qualified behaviour professional when in doubt.", text)
	}
	if d.GetTwoPeople() == "yes" {
		add("Two people.", "Two must be with it at work.")
	}
	for _, a := range d.GetApart() {
		add("Keep apart", "from %s (%s)%s.", a.GetDogName(), a.GetDogCode(), note(a.GetReason()))
	}
	for _, m := range d.GetMedicines() {
		if m.GetFirstDay() <= today && (m.GetLastDay() == "" || m.GetLastDay() >= today) {
			add("Medicine.", "%s, %s at %s%s%s. As the owner or a veterinarian wrote it; nobody here checked the dose.", m.GetMedicine(), m.GetDose(), strings.Join(m.GetTimes(), ", "), food(m.GetWithFood()), note(m.GetNote()))
		}
	}
	if d.GetFeeding() != "" {
		add("Feeding.", "%s", d.GetFeeding())
	}
	if heat := heatOf(d); heat != "" {
		add("Heat.", "%s Closed to outdoor work earlier than others; a veterinarian goes before this.", heat)
	}
	if d.GetNote() != "" {
		add("Note.", "%s", d.GetNote())
	}
	for _, c := range d.GetWorkload().GetCautions() {
		add("Caution.", "%s", c)
	}
	return out
}

func note(text string) string {
	if text == "" {
		return ""
	}
	return " (" + strings.TrimRight(text, ".") + ")"
}

func food(with bool) string {
	if with {
		return ", with food"
	}
	return ""
}

// heatOf says what makes the dog suffer from heat. What is not recorded counts as yes.
func heatOf(d *enrollmentv1.ReadDogResponse) string {
	var why []string
	for word, value := range map[string]string{"a short skull": d.GetFlatFaced(), "overweight": d.GetOverweight()} {
		switch value {
		case "yes":
			why = append(why, word)
		case "":
			why = append(why, word+" is not recorded and counts as yes")
		}
	}
	if len(why) == 0 {
		return ""
	}
	if len(why) == 2 && why[0] > why[1] {
		why[0], why[1] = why[1], why[0]
	}
	text := strings.Join(why, "; ")
	return strings.ToUpper(text[:1]) + text[1:] + "."
}
