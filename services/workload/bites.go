package workload

// BiteLevel is one level of the bite scale by wound that professionals use, credited to I. Dunbar. Levels are texts: newer
// versions have levels such as 3b between the whole numbers. The words below are ours.
type BiteLevel struct {
	// Level is "1" to "6", or "3b".
	Level string
	// Wound says what was seen.
	Wound string
	// Care is the class that we ask for.
	Care Care
	// Review asks for a person's decision before the dog is placed.
	Review bool
	// AdviseAgainst marks levels at which a school's default is not to take the dog in. It is advice; nothing acts on it.
	AdviseAgainst bool
	// nerves is the level of that skill that we ask for.
	nerves int
}

const sourceBites = "bite scale by wound: I. Dunbar; what follows from a level: " + sourceOurs + ", chosen on the safe side"

// Bites returns the levels, mildest first. What each asks for is ours and on the safe side: any level asks for experienced
// handlers, a wound (level 3 on) for cleared trainers and a person's decision, and from level 4 on the advice is not to take
// the dog in.
func Bites() []BiteLevel {
	return []BiteLevel{
		{Level: "1", Wound: "threat or snap, no contact of teeth and skin", Care: Guarded, nerves: 1},
		{Level: "2", Wound: "teeth touched skin, no puncture", Care: Guarded, nerves: 2},
		{Level: "3", Wound: "one bite with one to four shallow punctures", Care: Restricted, Review: true, nerves: 3},
		{Level: "3b", Wound: "several bites like that", Care: Restricted, Review: true, nerves: 3},
		{Level: "4", Wound: "a puncture deeper than half a canine tooth", Care: Restricted, Review: true, AdviseAgainst: true, nerves: 3},
		{Level: "5", Wound: "several such deep bites", Care: Restricted, Review: true, AdviseAgainst: true, nerves: 3},
		{Level: "6", Wound: "the victim died", Care: Restricted, Review: true, AdviseAgainst: true, nerves: 3},
	}
}

func biteByLevel(level string) (BiteLevel, bool) {
	for _, b := range Bites() {
		if b.Level == level {
			return b, true
		}
	}
	return BiteLevel{}, false
}

func (w *work) addBite(in Input) {
	b, known := biteByLevel(in.BiteLevel)
	if !known {
		return
	}
	factor := "bite level " + b.Level
	w.care(factor, b.Care, b.Wound, sourceBites)
	w.skill(factor, Nerves, b.nerves, b.Wound, sourceBites)
	w.need.NeedsReview = w.need.NeedsReview || b.Review
	switch {
	case b.AdviseAgainst:
		w.caution("Bite level %s (%s). The advice is not to take this dog in; defer to a qualified behaviour professional and to "+
			"local law on bites and confinement. A person must decide.", b.Level, b.Wound)
	case b.Review:
		w.caution("Bite level %s (%s). A person must decide before the dog is placed, with a qualified behaviour professional's "+
			"advice. Check local law on bite reports and confinement.", b.Level, b.Wound)
	default:
		w.caution("Bite level %s (%s). Most bites happen while a dog is taken out of its run: let one experienced handler do it.",
			b.Level, b.Wound)
	}
}
