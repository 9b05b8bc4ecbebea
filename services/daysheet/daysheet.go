// Package daysheet shows people what there is to do on a day: a sheet for each trainer and one for each row of runs, cautions first, as
// data, text, a table or a page to print; and a calendar feed for each trainer behind a private address.
//
// Sheets are made from the live plan of package dayplan each time that somebody asks, and are not kept. What to know of a dog comes from
// package enrollment, what its program asks from package training; nothing is decided here. The files:
//
//	read.go      one snapshot of the plan and of all that sheets show beside it
//	cautions.go  what to know before a dog is touched, in words
//	compose.go   the snapshot as sheets
//	text.go, table.go, page.go   sheets as text, CSV and HTML
//	feed.go      a trainer's days as a calendar
//	pages.go     the page and the feed over HTTP
//
// Names of owners and telephone numbers are personal data: they are left out of what a caller gets who may not read records, and are in
// no feed and no log.
package daysheet

import (
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/workload"
)

// Day is the sheets of a site's day. Times in texts are local.
type Day struct {
	SiteCode, SiteName, Zone string
	Day                      calendar.Date
	// Number and MadeAt are those of the plan; Stale says that what it was made from has changed since.
	Number int
	MadeAt time.Time
	Stale  bool
	// Notes are what people should know about the day.
	Notes []string
	// Dogs by code: those of the day, and those that the plan names though they are not there any more.
	Dogs []Dog
	// Trainers by code, Rows by name.
	Trainers []TrainerSheet
	Rows     []RowSheet
	// Withheld says that contacts were left out.
	Withheld bool
}

// Dog is a dog on a sheet.
type Dog struct {
	Code, Name string
	// Run and Row are empty for a dog that is not among those of the day.
	Run, Row string
	// Own is the code of the trainer whom it was promised.
	Own string
	// DayOfStay is 1 on the arrival day and Days on the graduation day.
	DayOfStay, Days int
	Graduation      calendar.Date
	Care            workload.Care
	// Handlers are the codes of the trainers at work who may handle it.
	Handlers []string
	Cautions []Caution
	// Vet and Owner are empty when nobody is on record, or when they are withheld.
	Vet, Owner Contact
}

// Caution is something to know before a dog is touched.
type Caution struct {
	// About is one of the words of cautions.go.
	About string
	Text  string
}

// Contact is whom to call.
type Contact struct{ Name, Phone string }

// Line is one thing to do.
type Line struct {
	// Kind is dayplan.KindSession, KindMeal, KindRest, KindIntake or KindHandover.
	Kind     string
	From, To time.Time
	// Starts and Ends are the same instants, local.
	Starts, Ends string
	// Dog is a code; empty for a break.
	Dog string
	// Session is which of the dog's sessions of the day it is, from 1; 0 for anything else.
	Session int
	// Trainer is a code; empty when nobody can do it. Own says that it is the dog's own.
	Trainer string
	Own     bool
	// Second is the code of the second person with a dog that two must be with; the line is on the sheets of both.
	Second string
	Area   string
	// Skill and SkillName are empty when the program asks for none; Target is what it asks, in words.
	Skill, SkillName, Target string
}

// Drop is a session that is not held.
type Drop struct {
	Dog                       string
	Session                   int
	SkillName, Reason, Remedy string
}

// TrainerSheet is what a trainer does.
type TrainerSheet struct {
	Code, Name string
	// Starts and Ends are those of the shift; empty for somebody who has none here.
	Starts, Ends string
	// Dogs are the codes of those that the trainer works with, and of the trainer's own.
	Dogs  []string
	Lines []Line
	// Drops are those of the trainer's own dogs.
	Drops []Drop
}

// RowSheet is what happens with the dogs of a row of runs.
type RowSheet struct {
	Row string
	// Dogs are codes, by run.
	Dogs  []string
	Lines []Line
	Drops []Drop
}

// dog finds a dog by its code; every code on a sheet has one.
func (d *Day) dog(code string) *Dog {
	for i := range d.Dogs {
		if d.Dogs[i].Code == code {
			return &d.Dogs[i]
		}
	}
	return &Dog{Code: code}
}
