package enrollment

import (
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// Vet is the veterinarian whom the owner names for a dog.
type Vet struct {
	DogID ids.DogID `db:"dog_id" json:"dog_id"`
	// Name may be empty.
	Name  string `db:"name" json:"name"`
	Phone string `db:"phone" json:"phone"`
}

// Medicine is what a dog is to get, as the owner or a veterinarian wrote it. Nothing here checks a dose.
type Medicine struct {
	DogID    ids.DogID     `db:"dog_id" json:"dog_id"`
	Medicine string        `db:"medicine" json:"medicine"`
	FirstDay calendar.Date `db:"first_day" json:"first_day"`
	// LastDay is the last day on which it is given; absent until further notice.
	LastDay calendar.Date `db:"last_day" json:"last_day"`
	Dose    string        `db:"dose" json:"dose"`
	// Times are local times of the site, such as 08:00, in order.
	Times    []string `db:"times" json:"times"`
	WithFood bool     `db:"with_food" json:"with_food"`
	Note     string   `db:"note" json:"note"`
}

// On reports whether the medicine is given on a day.
func (m Medicine) On(day calendar.Date) bool {
	return !day.Before(m.FirstDay) && (m.LastDay.IsZero() || !day.After(m.LastDay))
}

// Bite is a bite of a dog whose day is known.
type Bite struct {
	DogID ids.DogID     `db:"dog_id" json:"dog_id"`
	Day   calendar.Date `db:"day" json:"day"`
	// Level is one of workload.Bites.
	Level string `db:"level" json:"level"`
	Note  string `db:"note" json:"note"`
}

// feeding is a row of enrollment.feeding.
type feeding struct {
	DogID ids.DogID `db:"dog_id" json:"dog_id"`
	Note  string    `db:"note" json:"note"`
}

// Upkeep is what whoever looks after a dog must know beside its Case. The zero value is a dog of which none of it is recorded.
type Upkeep struct {
	// Vet is nil when nobody is named.
	Vet *Vet
	// Medicines by name and first day, past and coming ones among them; see Medicine.On.
	Medicines []Medicine
	// Feeding is empty when there is nothing special to it.
	Feeding string
	// Bites by day.
	Bites []Bite
}

// days are those on which something is recorded.
func (u Upkeep) days() (days []calendar.Date) {
	for _, m := range u.Medicines {
		days = append(days, m.FirstDay)
	}
	for _, b := range u.Bites {
		days = append(days, b.Day)
	}
	return days
}
