package roster

import (
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// TrainerDay is one working day of a trainer: the shift that begins on Day.
type TrainerDay struct {
	TrainerID ids.TrainerID
	// SiteID is where the trainer works, loans considered.
	SiteID ids.SiteID
	Day    calendar.Date
	// Minutes is the handling minutes: the trainer's MinutesADay, or the shift without its meal when that is less. It may be
	// 0 for a trainer who is present and handles no dogs.
	Minutes int
	// Dogs is the most dogs in hand.
	Dogs int
	// Starts and Ends are local times; Ends at or before Starts is on the next day.
	Starts, Ends calendar.Clock
	// Meal is the minutes of the break inside the shift.
	Meal int
}

// Days lists the working days in span, by trainer in the order given and then by day. The weekly pattern says which
// weekdays are worked; an absence takes a day away; a loan moves the work of a day to another site.
func Days(trainers []Trainer, shifts []Shift, absences []Absence, loans []Loan, span calendar.Span) []TrainerDay {
	weeks := map[ids.TrainerID]*[8]*Shift{}
	for i, s := range shifts {
		if weeks[s.TrainerID] == nil {
			weeks[s.TrainerID] = &[8]*Shift{}
		}
		weeks[s.TrainerID][s.Weekday] = &shifts[i]
	}
	away := map[ids.TrainerID][]Absence{}
	for _, a := range absences {
		away[a.TrainerID] = append(away[a.TrainerID], a)
	}
	lent := map[ids.TrainerID][]Loan{}
	for _, l := range loans {
		lent[l.TrainerID] = append(lent[l.TrainerID], l)
	}
	var days []TrainerDay
	for _, t := range trainers {
		week := weeks[t.ID]
		if week == nil {
			continue
		}
		for day := range span.Dates() {
			shift := week[day.ISOWeekday()]
			if shift == nil || absentOn(away[t.ID], day) {
				continue
			}
			days = append(days, workingDay(t, *shift, siteOn(lent[t.ID], day, shift.SiteID), day))
		}
	}
	return days
}

func workingDay(t Trainer, s Shift, site ids.SiteID, day calendar.Date) TrainerDay {
	return TrainerDay{
		TrainerID: t.ID, SiteID: site, Day: day,
		Minutes: min(t.MinutesADay, max(0, s.Minutes()-s.MealMinutes)), Dogs: t.MostDogs,
		Starts: s.Starts, Ends: s.Ends, Meal: s.MealMinutes,
	}
}

func absentOn(absences []Absence, day calendar.Date) bool {
	for _, a := range absences {
		if a.Days.Contains(day) {
			return true
		}
	}
	return false
}

// siteOn is the site of the loan that holds day, or else usual.
func siteOn(loans []Loan, day calendar.Date, usual ids.SiteID) ids.SiteID {
	for _, l := range loans {
		if l.Days.Contains(day) {
			return l.SiteID
		}
	}
	return usual
}
