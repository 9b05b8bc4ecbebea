package workload

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Question is one of the screening questions that an owner answers with 0 (never, none) to 4 (always, very much). The
// questions and their effects are our own; none of them is a published test.
type Question string

// The screening questions.
const (
	PullsOnLead     Question = "pulls_on_lead"
	SettlesInKennel Question = "settles_in_kennel"
	FearsStrangers  Question = "fears_strangers"
	ReactsToDogs    Question = "reacts_to_dogs"
	GuardsThings    Question = "guards_things"
	TroubleAlone    Question = "trouble_alone"
	EarlierTraining Question = "earlier_training"
	Excitable       Question = "excitable"
	AcceptsHandling Question = "accepts_handling"
	HouseTrained    Question = "house_trained"
)

// HighestAnswer is the highest answer; the lowest is 0.
const HighestAnswer = 4

// ScreeningQuestion is a question with the words to ask it in.
type ScreeningQuestion struct {
	ID Question
	// Text is what the owner is asked.
	Text string
	// Low and High say what 0 and 4 mean.
	Low, High string
	// Safety marks a question about people or dogs getting hurt. Until it is answered the dog is not handled as open.
	Safety bool
}

// Questions returns the screening questions in the order in which they are asked.
func Questions() []ScreeningQuestion {
	var qs []ScreeningQuestion
	for _, e := range answerEffects() {
		qs = append(qs, e.ScreeningQuestion)
	}
	return qs
}

// step is what one degree of trouble, 0 (none) to 4 (much), adds.
type step struct {
	minutes int
	care    Care
	level   int
	review  bool
}

// answerEffect says what the answers to one question change.
type answerEffect struct {
	ScreeningQuestion
	// helps turns the scale round: a high answer is good news.
	helps bool
	// skill is the skill that step.level is about.
	skill Skill
	// trouble is the factor in words.
	trouble string
	steps   [HighestAnswer + 1]step
	// caution is shown from degree 3 on.
	caution string
	source  string
}

// cautionFrom is the degree of trouble from which a caution is shown.
const cautionFrom = 3

const kennelStress = "Hiby, Rooney & Bradshaw 2006, Physiol Behav 89:385-391 (stress in kennels); minutes: " + sourcePractice

// answerEffects is the table of questions. It leans to the safe side: what an owner says of people and dogs being hurt
// raises the care class before it costs a minute. EarlierTraining and Excitable also move the own record (see breed.go).
func answerEffects() []answerEffect {
	return []answerEffect{
		{
			ScreeningQuestion: ScreeningQuestion{PullsOnLead, "Does the dog pull on the lead?", "never", "all the time", false},
			skill:             Heel, trouble: "pulls on the lead", source: sourcePractice,
			steps: [5]step{3: {minutes: 5, level: 2}, 4: {minutes: 5, level: 2}},
		},
		{
			ScreeningQuestion: ScreeningQuestion{SettlesInKennel, "Does the dog settle in a kennel or crate?", "never", "at once", false},
			helps:             true, skill: Nerves, trouble: "does not settle in a kennel", source: kennelStress,
			steps:   [5]step{2: {minutes: 5}, 3: {minutes: 10, level: 1}, 4: {minutes: 10, level: 2}},
			caution: "Expect a restless start: keep the first days light and log what it eats.",
		},
		{
			ScreeningQuestion: ScreeningQuestion{FearsStrangers, "Is the dog afraid of people it does not know?", "never", "of everybody", true},
			skill:             Nerves, trouble: "is afraid of strangers", source: sourcePractice,
			steps:   [5]step{1: {level: 1}, 2: {level: 2, care: Guarded}, 3: {minutes: 10, level: 2, care: Guarded}, 4: {minutes: 15, level: 3, care: Guarded}},
			caution: "A frightened dog may bite: one known person takes it out of its run, nobody reaches in.",
		},
		{
			ScreeningQuestion: ScreeningQuestion{ReactsToDogs, "Does the dog bark or lunge at other dogs?", "never", "at every dog", true},
			skill:             Reactivity, trouble: "reacts to other dogs", source: sourcePractice,
			steps:   [5]step{1: {level: 1}, 2: {level: 1}, 3: {minutes: 10, level: 2, care: Guarded}, 4: {minutes: 15, level: 3, care: Guarded}},
			caution: "Move and exercise it apart from other dogs.",
		},
		{
			ScreeningQuestion: ScreeningQuestion{GuardsThings, "Does the dog growl or snap over food, toys or places?", "never", "always", true},
			skill:             Nerves, trouble: "guards food or toys", source: sourcePractice,
			steps:   [5]step{2: {care: Guarded}, 3: {minutes: 5, level: 2, care: Restricted, review: true}, 4: {minutes: 5, level: 3, care: Restricted, review: true}},
			caution: "Do not reach for its bowl or toys; feed it alone. Ask a qualified behaviour professional before it is taken in.",
		},
		{
			ScreeningQuestion: ScreeningQuestion{TroubleAlone, "Is the dog distressed when left alone?", "never", "always", false},
			skill:             Nerves, trouble: "cannot be left alone", source: sourcePractice,
			steps:   [5]step{2: {minutes: 5}, 3: {minutes: 10, level: 1}, 4: {minutes: 15, level: 2}},
			caution: "It may hurt itself trying to get out: check it often on the first nights and tell a veterinarian of any injury.",
		},
		{
			ScreeningQuestion: ScreeningQuestion{EarlierTraining, "How much training has the dog had?", "none", "a great deal", false},
			helps:             true, trouble: "has had little training", source: sourcePractice,
		},
		{
			ScreeningQuestion: ScreeningQuestion{Excitable, "How easily does the dog get over-excited?", "never", "at anything", false},
			skill:             Hold, trouble: "gets over-excited", source: sourcePractice,
			steps: [5]step{3: {minutes: 5, level: 1}, 4: {minutes: 5, level: 2}},
		},
		{
			ScreeningQuestion: ScreeningQuestion{AcceptsHandling, "Does the dog accept being touched, brushed and held?", "never", "by anybody", true},
			helps:             true, skill: Nerves, trouble: "does not accept handling", source: sourcePractice,
			steps:   [5]step{2: {care: Guarded, level: 1}, 3: {minutes: 5, care: Guarded, level: 2}, 4: {minutes: 10, care: Restricted, level: 3, review: true}},
			caution: "Do not force handling. Ask a veterinarian to rule out pain.",
		},
		{
			ScreeningQuestion: ScreeningQuestion{HouseTrained, "Is the dog house-trained?", "not at all", "fully", false},
			helps:             true, trouble: "is not house-trained", source: sourcePractice,
			steps: [5]step{3: {minutes: 5}, 4: {minutes: 10}},
		},
	}
}

func (w *work) addAnswers(in Input) {
	var open []string
	for _, e := range answerEffects() {
		answer, answered := in.Answers[e.ID]
		if !answered {
			if e.Safety {
				open = append(open, e.Text)
			}
			continue
		}
		w.addAnswer(e, answer)
	}
	if len(open) > 0 {
		w.care("questions not answered", Guarded, fmt.Sprintf("%d of the questions about safety have no answer yet", len(open)), sourceOurs)
		w.caution("Not answered yet, so the dog is handled as guarded at least. Ask the owner: %s", strings.Join(open, " "))
	}
}

func (w *work) addAnswer(e answerEffect, answer int) {
	degree := answer
	if e.helps {
		degree = HighestAnswer - answer
	}
	s := e.steps[degree]
	text := fmt.Sprintf("the owner says it %s (%d of %d)", e.trouble, degree, HighestAnswer)
	// What an answer adds is about living with the dog, so it falls on the trainer's day off too.
	w.daily(e.trouble, s.minutes, text, e.source)
	if s.level > 0 {
		w.skill(e.trouble, e.skill, s.level, text, e.source)
	}
	w.care(e.trouble, s.care, text, e.source)
	if degree >= cautionFrom && e.caution != "" {
		w.caution("The dog %s. %s", e.trouble, e.caution)
	}
	w.need.NeedsReview = w.need.NeedsReview || s.review
}

func validateAnswers(answers map[Question]int) error {
	for _, q := range slices.Sorted(maps.Keys(answers)) {
		if !slices.ContainsFunc(answerEffects(), func(e answerEffect) bool { return e.ID == q }) {
			return fmt.Errorf("answer to %q: there is no such question", q)
		}
		if a := answers[q]; a < 0 || a > HighestAnswer {
			return fmt.Errorf("answer to %s is %d: use 0 (never, none) to %d (always, very much)", q, a, HighestAnswer)
		}
	}
	return nil
}
