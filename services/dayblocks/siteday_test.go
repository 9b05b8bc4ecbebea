package dayblocks_test

import (
	"math/rand/v2"

	"github.com/longlead/longlead/services/dayblocks"
)

// siteDay is a made-up day of a site: two dogs in five with three sessions and so on, own trainer and one who could cover, four areas.
func siteDay(seed uint64, trainers, dogs int) *dayblocks.Day {
	r := rand.New(rand.NewPCG(seed, 5))
	d := &dayblocks.Day{Step: 5, Minutes: 24 * 60, Changeover: 5, Policy: dayblocks.Policy{Drop: 100, Change: 2, Near: 3, Spread: 120, Late: 4}}
	for range trainers {
		from := (8 + r.IntN(2)) * 60
		d.Trainers = append(d.Trainers, dayblocks.Trainer{
			Hours:  []dayblocks.Span{{From: from, To: from + 510}},
			Fixed:  []dayblocks.Span{{From: from + 60*r.IntN(7), To: 0}},
			Breaks: []dayblocks.Break{{Minutes: 30, Within: dayblocks.Span{From: from + 180, To: from + 330}}, {Minutes: 10, Within: dayblocks.Span{From: from + 90, To: from + 180}}, {Minutes: 10, Within: dayblocks.Span{From: from + 360, To: from + 450}}},
			Finish: from + 480,
		})
		f := &d.Trainers[len(d.Trainers)-1].Fixed[0]
		f.To = f.From + 30*r.IntN(4)
	}
	open := []dayblocks.Span{{From: 7 * 60, To: 19 * 60}}
	d.Areas = []dayblocks.Area{{2, open}, {4, open}, {3, open}, {2, []dayblocks.Span{{From: 8 * 60, To: 12 * 60}, {From: 15 * 60, To: 19 * 60}}}}
	for i := range dogs {
		dog := dayblocks.Dog{Rest: 60, Alone: r.IntN(8) == 0, Two: r.IntN(12) == 0, Weight: 1,
			Away: []dayblocks.Span{{From: 7 * 60, To: 8*60 + 30}, {From: 12 * 60, To: 13*60 + 30}}}
		own := i % trainers
		quiet := r.IntN(3) == 0
		for j := range 3 {
			s := dayblocks.Session{Minutes: 15 + 5*r.IntN(2), Skill: (j + r.IntN(2)) % 3, Handlers: []dayblocks.Choice{{Trainer: own}, {Trainer: (own + 1) % trainers, Points: 10}}}
			for a := range d.Areas {
				if !quiet || a < 2 {
					s.Areas = append(s.Areas, dayblocks.Place{Area: a, Points: a % 3})
				}
			}
			dog.Sessions = append(dog.Sessions, s)
		}
		d.Dogs = append(d.Dogs, dog)
	}
	for range dogs / 8 {
		a, b := r.IntN(dogs), r.IntN(dogs)
		if a != b {
			d.Apart = append(d.Apart, [2]int{a, b})
		}
	}
	return d
}
