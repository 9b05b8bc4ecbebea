package enrollment

import (
	"fmt"
	"slices"
	"strings"
)

// VaccineRule says when one vaccine counts as valid. Every number is a setting that a site may change; the defaults are in
// VaccineSettings. They are not veterinary advice: local law and the dog's veterinarian go before them.
type VaccineRule struct {
	// Vaccine is its name, in lower case.
	Vaccine string
	// PrimaryDoses is how many shots the first course takes, LeastGapDays to MostGapDays apart (0 and 0 for one shot).
	PrimaryDoses              int
	LeastGapDays, MostGapDays int
	// WaitDays is how many days after the last shot of the first course the vaccine begins to count.
	WaitDays int
	// PrimaryMonths is how long the first course holds, whatever the label says.
	PrimaryMonths int
	// MostMonths bounds how long any shot holds, whatever the label says.
	MostMonths int
	// LateBoosterCounts says that an overdue booster counts on the day it is given; otherwise it waits WaitDays again.
	LateBoosterCounts bool
	// Citation is where the numbers are from.
	Citation string
}

// Rabies is the vaccine whose waiting days each site sets.
const Rabies = "rabies"

// The name of the combined core vaccine, and what it protects against.
const combined = "dhpp"

var combinedParts = []string{"distemper", "adenovirus", "parvo", "parainfluenza"}

// RabiesWaitingDays lists the waiting days after a first rabies shot that laws ask for: 14 (definition in New York Public
// Health Law), 28 (NASPHV compendium 2016) and 30 (McKinney, Texas).
func RabiesWaitingDays() []int { return []int{14, 28, 30} }

const (
	citeRabies = "NASPHV Compendium of Animal Rabies Prevention and Control 2016, JAVMA 248(5):505-517; waiting days by local law"
	citeCore   = "2022 AAHA Canine Vaccination Guidelines, JAAHA 58:213-230 (core; intervals from memory); 7 days before intake: common practice, no source"
	citeKennel = "2022 AAHA Canine Vaccination Guidelines, JAAHA 58:213-230 (yearly; a week before exposure; from memory). Many kennels ask for 6 months. Injected vaccine takes two doses: ask the veterinarian"
	citeFlu    = "2022 AAHA Canine Vaccination Guidelines, JAAHA 58:213-230 (two doses 2-4 weeks apart, then yearly; about 14 days to protection)"
	citeTwo    = "2022 AAHA Canine Vaccination Guidelines, JAAHA 58:213-230 (two doses 2-4 weeks apart, then yearly; from memory); 14 days' wait: our own setting"
)

// VaccineSettings returns the vaccines that a site may require with the default rule of each.
func VaccineSettings() []VaccineRule {
	one := func(name string, wait, most int, cite string) VaccineRule {
		return VaccineRule{Vaccine: name, PrimaryDoses: 1, WaitDays: wait, PrimaryMonths: 12, MostMonths: most, Citation: cite}
	}
	two := func(name, cite string) VaccineRule {
		return VaccineRule{Vaccine: name, PrimaryDoses: 2, LeastGapDays: 14, MostGapDays: 28, WaitDays: 14,
			PrimaryMonths: 12, MostMonths: 12, Citation: cite}
	}
	rabies := one(Rabies, 28, 36, citeRabies)
	rabies.LateBoosterCounts = true
	rules := []VaccineRule{rabies, one(combined, 7, 36, citeCore)}
	for _, part := range combinedParts {
		rules = append(rules, one(part, 7, 36, citeCore))
	}
	return append(rules, one("bordetella", 7, 12, citeKennel), two("influenza", citeFlu), two("leptospirosis", citeTwo), two("lyme", citeTwo))
}

// VaccineRules returns the rules of the vaccines that a site requires, with the site's rabies waiting days (one of
// RabiesWaitingDays). It refuses a vaccine without a rule, naming those that have one: a requirement that nobody checks
// would be worse than none.
func VaccineRules(required []string, rabiesWaitingDays int) ([]VaccineRule, error) {
	settings := VaccineSettings()
	var rules []VaccineRule
	for _, name := range required {
		i := slices.IndexFunc(settings, func(r VaccineRule) bool { return r.Vaccine == vaccineName(name) })
		if i < 0 {
			return nil, fmt.Errorf("required vaccine %q: no rule is known for it; use one of %s", name, strings.Join(VaccineNames(), ", "))
		}
		r := settings[i]
		if r.Vaccine == Rabies {
			if !slices.Contains(RabiesWaitingDays(), rabiesWaitingDays) {
				return nil, fmt.Errorf("rabies waiting days %d: use 14, 28 or 30, whichever the site's law says", rabiesWaitingDays)
			}
			r.WaitDays = rabiesWaitingDays
		}
		rules = append(rules, r)
	}
	return rules, nil
}

// VaccineNames lists the names of VaccineSettings.
func VaccineNames() []string {
	var names []string
	for _, r := range VaccineSettings() {
		names = append(names, r.Vaccine)
	}
	return names
}

// Text states the rule in words with its citation.
func (r VaccineRule) Text() string {
	first := "the first shot"
	if r.PrimaryDoses > 1 {
		first = fmt.Sprintf("the last of %d first doses, %d to %d days apart,", r.PrimaryDoses, r.LeastGapDays, r.MostGapDays)
	}
	lateBooster := fmt.Sprintf("an overdue one after %d days", r.WaitDays)
	if r.LateBoosterCounts {
		lateBooster = "also an overdue one"
	}
	return fmt.Sprintf("%s counts from day %d after %s for %d months, whatever its label; a booster counts at once (%s) as long as its "+
		"label says, at most %d months; it must hold through the graduation day (%s)",
		r.Vaccine, r.WaitDays, first, min(r.PrimaryMonths, r.MostMonths), lateBooster, r.MostMonths, r.Citation)
}

// takes reports whether a shot of this name counts for the rule.
func (r VaccineRule) takes(shot string) bool {
	name := vaccineName(shot)
	return name == r.Vaccine || name == combined && slices.Contains(combinedParts, r.Vaccine)
}

// vaccineName brings the spellings of certificates to one: case, spaces and the usual names of the combined core vaccine.
func vaccineName(name string) string {
	name = strings.ToLower(strings.TrimSpace(name))
	switch name {
	case "dapp", "da2pp", "dhppi":
		return combined
	}
	return name
}
