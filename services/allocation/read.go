package allocation

import (
	"fmt"
	"io"
	"slices"
)

// Format and version of a problem file.
const (
	fileFormat  = "allocation-problem"
	fileVersion = 1
)

// ReadProblem reads a problem in JSON, plain or compressed with gzip (told apart by the first bytes), and validates it.
//
// The layout is {"format":"allocation-problem","version":1,"name":…,"days":…,"sites":[…],"trainers":[…],"dogs":[…]} with
//
//	site     {"name":…,"runs":[{"class":…,"capacity":[…]}],"intake":[…],"handover":[…],"minutes":[…],"clean_down":…,
//	          "easy_intake":EASY,"easy_handover":EASY,"easy_minutes":EASY}
//	trainer  {"site":…,"works":[0|1…],"minutes":[…],"dogs":[…],"easy":EASY}
//	EASY     {"upto":[…],"over":…,"unit":…}
//	dog      {"nights":…,"placements":[{"site":…,"arrival":…,"value":…,"runs":[[class,penalty]…],
//	          "trainers":[[trainer,penalty,minutes,cover]…]}]}
//
// where every soft level (EASY, see Easy) and its unit, a site's minutes and clean_down, a trainer entry's fourth number (cover minutes) and the top-level
// "together":[[dog,dog…]…] may be left out. Fields the layout does not know are refused, since a misspelt limit would
// otherwise be no limit. Numbers are whole and within MaxNumber; see the other Max limits. Errors about the contents wrap
// ErrInvalid and name line and field.
func ReadProblem(r io.Reader) (*Problem, error) {
	s, err := newScanner(r)
	if err != nil {
		return nil, err
	}
	p := &Problem{}
	if err := (&problemReader{scanner: s, p: p}).read(); err != nil {
		return nil, err
	}
	if err := s.end(); err != nil {
		return nil, err
	}
	if err := p.Validate(); err != nil {
		return nil, err
	}
	return p, nil
}

type problemReader struct {
	*scanner
	p *Problem

	// The last lists read: neighbouring groups nearly always repeat them, and sharing one copy saves most of the memory.
	runs     []RunOption
	trainers []TrainerOption
	scratchR []RunOption
	scratchT []TrainerOption
}

func (r *problemReader) read() error {
	has := map[string]bool{}
	err := r.object(func(key string) error {
		r.path, has[key] = key, true
		return r.topField(key)
	})
	r.path = ""
	if err != nil {
		return err
	}
	for _, key := range []string{"format", "version", "days", "sites", "trainers", "dogs"} {
		if !has[key] {
			return invalid("the field %q is missing", key)
		}
	}
	return nil
}

func (r *problemReader) topField(key string) (err error) {
	switch key {
	case "format":
		var format string
		if format, err = r.text(); err == nil && format != fileFormat {
			return r.fail("the format is %q; this reader knows %q", format, fileFormat)
		}
	case "version":
		var version int
		if version, err = r.count(MaxNumber); err == nil && version != fileVersion {
			return r.fail("version %d; this reader knows version %d", version, fileVersion)
		}
	case "name":
		r.p.Name, err = r.text()
	case "days":
		r.p.Days, err = r.count(MaxDays)
	case "sites":
		return r.list(func(i int) error {
			r.path = fmt.Sprintf("site %d", i)
			if i >= MaxSites {
				return r.fail("more than %d sites", MaxSites)
			}
			s, err := r.site()
			r.p.Sites = append(r.p.Sites, s)
			return err
		})
	case "trainers":
		return r.list(func(i int) error {
			r.path = fmt.Sprintf("trainer %d", i)
			if i >= MaxTrainers {
				return r.fail("more than %d trainers", MaxTrainers)
			}
			t, err := r.trainer()
			r.p.Trainers = append(r.p.Trainers, t)
			return err
		})
	case "dogs":
		return r.list(func(i int) error {
			r.path = fmt.Sprintf("dog %d", i)
			if i >= MaxDogs {
				return r.fail("more than %d dogs", MaxDogs)
			}
			d, err := r.dog()
			r.p.Dogs = append(r.p.Dogs, d)
			return err
		})
	case "together":
		return r.list(func(i int) error {
			dogs, err := r.numbers(MaxDogs, MaxDogs)
			r.p.Together = append(r.p.Together, dogs)
			return err
		})
	default:
		return r.unknown(key)
	}
	return err
}

func (r *problemReader) unknown(key string) error {
	return r.fail("unknown field %q; check the spelling or remove it", key)
}

// numbers reads a list of at most most counts.
func (r *problemReader) numbers(most, limit int) ([]int, error) {
	out := []int{}
	err := r.list(func(i int) error {
		if i >= most {
			return r.fail("a list has more than %d numbers", most)
		}
		n, err := r.count(limit)
		out = append(out, n)
		return err
	})
	return slices.Clip(out), err
}

func (r *problemReader) byDay() ([]int, error) { return r.numbers(MaxDays, MaxNumber) }

func (r *problemReader) site() (s Site, err error) {
	err = r.object(func(key string) (err error) {
		switch key {
		case "name":
			s.Name, err = r.text()
		case "runs":
			return r.list(func(i int) error {
				if i >= MaxClasses {
					return r.fail("more than %d run classes", MaxClasses)
				}
				c, err := r.runClass()
				s.Runs = append(s.Runs, c)
				return err
			})
		case "intake":
			s.Intake, err = r.byDay()
		case "handover":
			s.Handover, err = r.byDay()
		case "minutes":
			s.Minutes, err = r.byDay()
		case "clean_down":
			s.CleanDown, err = r.count(MaxDays)
		case "easy_intake":
			s.EasyIntake, err = r.easy()
		case "easy_handover":
			s.EasyHandover, err = r.easy()
		case "easy_minutes":
			s.EasyMinutes, err = r.easy()
		default:
			return r.unknown(key)
		}
		return err
	})
	return s, err
}

func (r *problemReader) runClass() (c RunClass, err error) {
	err = r.object(func(key string) (err error) {
		switch key {
		case "class":
			c.Class, err = r.text()
		case "capacity":
			c.Capacity, err = r.byDay()
		default:
			return r.unknown(key)
		}
		return err
	})
	return c, err
}

func (r *problemReader) trainer() (t Trainer, err error) {
	hasSite := false
	err = r.object(func(key string) (err error) {
		switch key {
		case "site":
			hasSite = true
			t.Site, err = r.count(MaxSites)
		case "works":
			var works []int
			if works, err = r.numbers(MaxDays, 1); err != nil {
				return err
			}
			t.Works = make([]bool, len(works))
			for k, w := range works {
				t.Works[k] = w == 1
			}
		case "minutes":
			t.Minutes, err = r.byDay()
		case "dogs":
			t.Dogs, err = r.byDay()
		case "easy":
			t.Easy, err = r.easy()
		default:
			return r.unknown(key)
		}
		return err
	})
	if err == nil && !hasSite {
		err = r.fail("the field %q is missing", "site")
	}
	return t, err
}

func (r *problemReader) easy() (*Easy, error) {
	e := &Easy{}
	err := r.object(func(key string) (err error) {
		switch key {
		case "upto":
			e.Upto, err = r.byDay()
		case "over":
			e.Over, err = r.count(MaxNumber)
		case "unit":
			e.Unit, err = r.count(MaxNumber)
		default:
			return r.unknown(key)
		}
		return err
	})
	return e, err
}

func (r *problemReader) dog() (d Dog, err error) {
	err = r.object(func(key string) (err error) {
		switch key {
		case "nights":
			d.Nights, err = r.count(MaxDays)
		case "placements":
			err = r.list(func(i int) error {
				if i >= MaxGroups {
					return r.fail("more than %d placement groups", MaxGroups)
				}
				g, err := r.group()
				d.Placements = append(d.Placements, g)
				return err
			})
			d.Placements = slices.Clip(d.Placements)
		default:
			return r.unknown(key)
		}
		return err
	})
	return d, err
}

func (r *problemReader) group() (g Group, err error) {
	need := 0
	err = r.object(func(key string) (err error) {
		switch key {
		case "site":
			need++
			g.Site, err = r.count(MaxSites)
		case "arrival":
			need++
			g.Arrival, err = r.count(MaxDays)
		case "value":
			need++
			g.Value, err = r.number(MaxNumber)
		case "runs":
			g.Runs, err = r.runOptions()
		case "trainers":
			g.Trainers, err = r.trainerOptions()
		default:
			return r.unknown(key)
		}
		return err
	})
	if err == nil && need < 3 {
		err = r.fail("a placement needs site, arrival and value")
	}
	return g, err
}

func (r *problemReader) runOptions() ([]RunOption, error) {
	r.scratchR = r.scratchR[:0]
	err := r.list(func(i int) error {
		if i >= MaxChoices {
			return r.fail("a placement lists more than %d runs", MaxChoices)
		}
		n, _, err := r.entry(2, 2, "[class, penalty]")
		r.scratchR = append(r.scratchR, RunOption{Class: n[0], Penalty: n[1]})
		return err
	})
	if !slices.Equal(r.scratchR, r.runs) {
		r.runs = slices.Clone(r.scratchR)
	}
	return r.runs, err
}

func (r *problemReader) trainerOptions() ([]TrainerOption, error) {
	r.scratchT = r.scratchT[:0]
	err := r.list(func(i int) error {
		if i >= MaxChoices {
			return r.fail("a placement lists more than %d trainers", MaxChoices)
		}
		n, _, err := r.entry(3, 4, "[trainer, penalty, minutes] or [trainer, penalty, minutes, cover]")
		r.scratchT = append(r.scratchT, TrainerOption{Trainer: n[0], Penalty: n[1], Minutes: n[2], Cover: n[3]})
		return err
	})
	if !slices.Equal(r.scratchT, r.trainers) {
		r.trainers = slices.Clone(r.scratchT)
	}
	return r.trainers, err
}

// entry reads a short list of numbers; what describes it in messages. Signs are left to Validate.
func (r *problemReader) entry(least, most int, what string) (n [4]int, have int, err error) {
	err = r.list(func(i int) (err error) {
		if i >= most {
			return r.fail("an entry has too many numbers; write %s", what)
		}
		n[i], err = r.number(MaxNumber)
		have = i + 1
		return err
	})
	if err == nil && have < least {
		err = r.fail("an entry has %d numbers; write %s", have, what)
	}
	return n, have, err
}
