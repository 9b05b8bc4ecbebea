package readiness_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/workload"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

// pupil is a simulated dog with its true curves: logit of the start, logit of the part closed by a session, and the same for holds, as
// package workload says that dogs are.
type pupil struct {
	code                string
	tier                int
	arrival             calendar.Date
	a, b, holdA, holdB  float64
	logged, later       int // sessions before the day, and from then on
	passedAll, heldLong [2]bool
	share, hold         [2]float64
}

// The trial: 8 of 10 and a hold of 60 seconds, after 9 nights.
const (
	trialNights = 9
	trialHold   = 60
	// holdNoise is how much the logarithm of the longest hold differs from session to session, as package workload has it.
	holdNoise = .35
)

func logit(p float64) float64 { return math.Log(p / (1 - p)) }

func drawPupil(source *rand.Rand, n int, day calendar.Date) pupil {
	pace := workload.DefaultPace()
	d := pupil{code: fmt.Sprintf("T-%04d", n), tier: source.IntN(7), arrival: day.AddDays(-2 - source.IntN(5))}
	learn, grow := logit(pace.Theta), math.Log(pace.HoldGrowth)
	learnSpread, growSpread := pace.ThetaSpread, pace.HoldGrowthSpread
	if d.tier > 0 {
		learn, grow = learn+learnSpread*workload.BreedPrior(d.tier), grow+growSpread*workload.BreedPrior(d.tier)
		learnSpread, growSpread = learnSpread*math.Sqrt(1-workload.BreedShare), growSpread*math.Sqrt(1-workload.BreedShare)
	}
	d.a, d.b = logit(pace.Start)+pace.StartSpread*source.NormFloat64(), learn+learnSpread*source.NormFloat64()
	d.holdA, d.holdB = math.Log(pace.HoldStart)+pace.HoldStartSpread*source.NormFloat64(), grow+growSpread*source.NormFloat64()
	return d
}

// passed draws how many of n trials the dog passes after x sessions.
func (d pupil) passed(source *rand.Rand, x, n int) (k int) {
	p := 1 - 1/(1+math.Exp(d.a))*math.Pow(1/(1+math.Exp(d.b)), float64(x))
	for range n {
		if source.Float64() < p {
			k++
		}
	}
	return k
}

func (d pupil) held(source *rand.Rand, x int) float64 {
	return math.Exp(d.holdA + math.Exp(d.holdB)*float64(x) + holdNoise*source.NormFloat64())
}

// chances are the true ones of passing 8 of 10 and of holding for 60 seconds after x sessions, by the plain formulas.
func (d pupil) chances(x int) (share, hold float64) {
	p := 1 - 1/(1+math.Exp(d.a))*math.Pow(1/(1+math.Exp(d.b)), float64(x))
	share = 45*math.Pow(p, 8)*math.Pow(1-p, 2) + 10*math.Pow(p, 9)*(1-p) + math.Pow(p, 10)
	return share, .5 * math.Erfc(-(d.holdA+math.Exp(d.holdB)*float64(x)-math.Log(trialHold))/holdNoise/math.Sqrt2)
}

// sessionsOn is how many sessions the trial has on a day, counted for the test on its own: ANA works Monday to Friday.
func (d pupil) sessionsOn(day calendar.Date) int {
	if wd := day.Weekday(); day == d.arrival || wd == time.Saturday || wd == time.Sunday {
		return 1
	}
	return 2
}

// train writes what the trainer logs before the day, as rows of a file. Every seventh session is first logged wrong and then corrected.
func (d *pupil) train(source *rand.Rand, day calendar.Date, rows []string) []string {
	for on := d.arrival; on.Before(d.arrival.AddDays(trialNights)); on = on.AddDays(1) {
		if !on.Before(day) {
			d.later += d.sessionsOn(on)
			continue
		}
		for hour := range d.sessionsOn(on) {
			trials := 4 + source.IntN(7)
			k, hold := d.passed(source, d.logged, trials), int(max(1, math.Round(min(trialHold, d.held(source, d.logged)))))
			key, line := fmt.Sprintf("%s-%d", d.code, d.logged), ",%s,ANA,HEEL,%sT%02d:00:00Z,%d,%d,%d,0,quiet,,,%s,,"
			if source.IntN(7) == 0 {
				rows = append(rows, key+"x"+fmt.Sprintf(line, d.code, on, 16+hour, 10, 0, 1, ""))
				rows = append(rows, key+fmt.Sprintf(line, d.code, on, 16+hour, trials, k, hold, key+"x"))
			} else {
				rows = append(rows, key+fmt.Sprintf(line, d.code, on, 16+hour, trials, k, hold, ""))
			}
			d.logged++
		}
	}
	for i, x := range []int{d.logged + d.later, d.logged} { // as it is trained on, and if it were trained no more
		d.passedAll[i], d.heldLong[i] = d.passed(source, x, 10) >= 8, d.held(source, x) >= trialHold
		d.share[i], d.hold[i] = d.chances(x)
	}
	return rows
}

// board takes all pupils in at once: dogs, requests, runs and stays.
func (s *school) board(t testing.TB, dogs []pupil, program string) {
	t.Helper()
	var codes, arrivals []string
	var tiers []int
	for _, d := range dogs {
		codes, arrivals, tiers = append(codes, d.code), append(arrivals, d.arrival.String()), append(tiers, d.tier)
	}
	s.sql(t, `with who as (select * from unnest($1::text[], $2::text[], $3::int[]) as w(code, arrival, tier)),
		dog as (insert into enrollment.dog (id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level, note)
		  select gen_random_uuid(), w.code, o.id, w.code, '', w.tier, false, 'male', '2025-01-01', 20000, 700, 600, '', '' from who w, enrollment.owner o returning id, code),
		run as (insert into facility.run (id, site_id, code, row_name, length_mm, width_mm, height_mm, isolation)
		  select gen_random_uuid(), x.id, w.code, 'A', 2000, 2000, 2000, false from who w join facility.site x on x.code = 'HILL' returning id, site_id, code),
		request as (insert into enrollment.request (id, code, dog_id, program_id, window_days, priority, deposit, asked_on, household, state, note)
		  select gen_random_uuid(), w.code, dog.id, p.id, daterange(w.arrival::date, w.arrival::date + 1), 3, false, '2026-01-01', '', 'open', ''
		  from who w join dog on dog.code = w.code join enrollment.program p on p.code = $4 returning id, code)
		insert into planner.stay (id, request_id, site_id, run_id, trainer_id, nights, state, made_at)
		select gen_random_uuid(), q.id, r.site_id, r.id, t.id, daterange(w.arrival::date, w.arrival::date + $5::int), 'in residence', now()
		from who w join request q on q.code = w.code join run r on r.code = w.code cross join roster.trainer t`, codes, arrivals, tiers, program, trialNights)
}

const sessionsHeader = "key,dog,trainer,skill,trained_at,trials,successes,hold_seconds,distance_cm,distraction,settled,note,replaces,arrived_at,logged_by"

// TestCalibration sends simulated dogs the whole way: their sessions are imported, some of them corrected, the service reckons them in
// the middle of their stay, and they are trained on to the end. Of those given a chance of 70 %, about 70 % must pass. The count of
// further sessions is part of it: had the dogs been trained no more, the chances would not hold.
func TestCalibration(t *testing.T) {
	t.Parallel()
	const dogs = 1200
	source := rand.New(rand.NewPCG(7, 1))
	s := newHill(t, noon, "1,2,3,4,5")
	day := calendar.MustDate("2027-03-08")
	pupils, rows := make([]pupil, dogs), []string{sessionsHeader}
	for i := range pupils {
		pupils[i] = drawPupil(source, i, day)
		rows = pupils[i].train(source, day, rows)
	}
	s.board(t, pupils, "TRIAL")
	s.take(t, csv("sessions", rows...))
	readyOf := map[string]*readinessv1.Readiness{}
	for _, r := range s.list(t, "HILL", day.String()).GetDogs() {
		readyOf[r.GetDogCode()] = r
	}
	require.Len(t, readyOf, dogs)

	events := []string{"8 of 10", "a hold of 60 s", "both", "8 of 10, had the dogs been trained no more"}
	tables := make([]workload.CalibrationTable, len(events))
	counts := make([]outcomes, len(events))
	for _, d := range pupils {
		r := readyOf[d.code]
		require.EqualValues(t, d.later, r.GetSessionsLeft(), d)
		require.EqualValues(t, d.logged, r.GetSessions())
		heel := skill(t, r, "HEEL")
		counts[0].add(heel.GetShare(), d.share[0], d.passedAll[0])
		counts[1].add(heel.GetHold(), d.hold[0], d.heldLong[0])
		counts[2].add(r.GetAll(), d.share[0]*d.hold[0], d.passedAll[0] && d.heldLong[0])
		counts[3].add(heel.GetShare(), d.share[1], d.passedAll[1])
	}
	for i := range counts {
		tables[i] = counts[i].table(events[i])
		t.Log("\n" + tables[i].String())
	}
	for _, table := range tables[:3] {
		require.True(t, table.Holds(), table.String())
	}
	require.InDelta(t, .95, tables[0].Covered, .03)
	require.InDelta(t, .95, tables[1].Covered, .03)
	require.False(t, tables[3].Holds(), "a test that cannot fail shows nothing")
	require.Contains(t, tables[3].String(), "differs")
}

// outcomes counts what came of chances, in ten bands.
type outcomes struct {
	bands         [10]struct{ dogs, met, sum, variance float64 }
	dogs, covered float64
}

func (o *outcomes) add(chance *readinessv1.Chance, truth float64, met bool) {
	b := &o.bands[min(9, int(chance.GetMean()*10))]
	b.dogs++
	b.sum += chance.GetMean()
	b.variance += chance.GetMean() * (1 - chance.GetMean())
	if met {
		b.met++
	}
	o.dogs++
	if truth >= chance.GetLow() && truth <= chance.GetHigh() {
		o.covered++
	}
}

// table allows three standard errors and .02, as workload.Calibrate does.
func (o *outcomes) table(event string) workload.CalibrationTable {
	t := workload.CalibrationTable{Event: event, Covered: o.covered / o.dogs}
	for i, b := range o.bands {
		band := workload.CalibrationBand{From: float64(i) / 10, To: float64(i+1) / 10, Dogs: int(b.dogs)}
		if b.dogs > 0 {
			band.Predicted, band.Seen, band.Allowed = b.sum/b.dogs, b.met/b.dogs, 3*math.Sqrt(b.variance)/b.dogs+.02
		}
		t.Bands = append(t.Bands, band)
	}
	return t
}

// BenchmarkList reckons 240 dogs with five skills, three of them with holds, in the middle of their stay.
func BenchmarkList(b *testing.B) {
	const dogs = 240
	source := rand.New(rand.NewPCG(7, 2))
	s := newHill(b, noon, "1,2,3,4,5")
	day := calendar.MustDate("2027-03-08")
	s.take(b, csv("skills", "code,name,about,with_name,sort_order", "AUTO-SIT,Automatic sit,,no,40", "DOWN-STAY,Down and stay,,no,50"),
		csv("targets", "program,skill,trials_percent,hold_seconds,distance_cm,distraction", "TRIAL,COME,80,0,600,mild", "TRIAL,SIT-STAY,80,180,183,mild",
			"TRIAL,AUTO-SIT,80,0,0,mild", "TRIAL,DOWN-STAY,80,300,183,lively"))
	pupils, rows := make([]pupil, dogs), []string{sessionsHeader}
	for i := range pupils {
		pupils[i] = drawPupil(source, i, day)
		rows = pupils[i].train(source, day, rows)
	}
	for i, row := range rows { // every skill has its turn
		if skills := []string{"HEEL", "COME", "SIT-STAY", "AUTO-SIT", "DOWN-STAY"}; i > 0 && !strings.Contains(row, "x,") {
			rows[i] = strings.Replace(row, ",HEEL,", ","+skills[i%5]+",", 1)
		}
	}
	s.board(b, pupils, "TRIAL")
	s.take(b, csv("sessions", rows...))
	for b.Loop() {
		if n := len(s.list(b, "", day.String()).GetDogs()); n != dogs {
			b.Fatal(n)
		}
	}
}
