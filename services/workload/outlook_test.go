package workload_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/workload"
)

var eightOfTen = workload.Target{Percent: 80}

func TestLookAheadFlags(t *testing.T) {
	t.Parallel()
	good, poor := scored(8, 2, 4, 5, 6, 7, 8), scored(8, 1, 1, 2, 1, 2, 2)
	hold := workload.Target{HoldSeconds: 180}
	timed := func(seconds ...int) []workload.Session {
		var s []workload.Session
		for i, h := range seconds {
			s = append(s, workload.Session{Number: i + 1, HoldSeconds: h})
		}
		return s
	}
	tests := []struct {
		name    string
		course  workload.Course
		flag    workload.Flag
		reason  string
		warning string
	}{
		{"goes well", course(6, eightOfTen, good), workload.OnCourse, "the chance of meeting all targets is", ""},
		{"goes slowly", course(3, eightOfTen, poor), workload.AtRisk, "heel: 9 of 48 trials passed so far; after 3 more sessions the chance of 8 of 10 is", ""},
		{"never passed, few sessions left", course(3, eightOfTen, scored(8, 0, 0, 0)), workload.AtRisk, "heel: none of 24 trials was passed yet", ""},
		{"never passed, however long", course(300, eightOfTen, scored(8, 0, 0, 0)), workload.AtRisk, "rests on what is typical of the program", ""},
		{"nothing logged", course(30, eightOfTen, nil), workload.TooFewData, "heel: nothing is logged yet", "typical dog of the program"},
		{"two sessions", course(30, eightOfTen, scored(8, 8, 8)), workload.TooFewData, "heel: only 2 scored sessions with 16 trials logged", "rests mostly on what is typical"},
		{"seven trials", course(30, eightOfTen, scored(1, 1, 1, 1, 1, 1, 1, 1)), workload.TooFewData, "7 scored sessions with 7 trials", "rests mostly"},
		{"eight trials", course(30, eightOfTen, scored(1, 1, 1, 1, 1, 1, 1, 1, 1)), workload.OnCourse, "70 % is asked for", ""},
		{"holds well", course(6, hold, timed(10, 25, 60, 120)), workload.OnCourse, "the chance of meeting all targets", ""},
		{"holds little", course(3, hold, timed(5, 6, 5, 7)), workload.AtRisk, "longest hold 7 s; after 3 more sessions the chance of a hold of 180 s is", ""},
		{"held once", course(3, hold, timed(5)), workload.TooFewData, "only 1 timed hold logged", "only 1 timed hold"},
		{"graduates today", course(0, eightOfTen, scored(8, 1, 2, 2, 3)), workload.AtRisk, "after 0 more sessions", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			o := lookAhead(t, tt.course)
			require.Equal(t, tt.flag, o.Flag, o)
			require.Contains(t, strings.Join(o.Reasons, "\n"), tt.reason)
			if tt.warning == "" {
				require.Empty(t, o.Warnings)
			} else {
				require.Contains(t, strings.Join(o.Warnings, "\n"), tt.warning)
			}
			require.Equal(t, o.All.Mean < .7, len(o.Proposals) > 0, "proposals where the chance is too low, and only there")
		})
	}
}

// TestRiskBeforeMissingData: what is not known of one skill does not hide what is known of another.
func TestRiskBeforeMissingData(t *testing.T) {
	t.Parallel()
	c := course(3, eightOfTen, scored(8, 1, 1, 2, 1, 2, 2))
	c.Skills = append(c.Skills, workload.SkillRecord{Name: "recall", Target: eightOfTen})
	o := lookAhead(t, c)
	require.Equal(t, workload.AtRisk, o.Flag)
	require.Len(t, o.Reasons, 2)
	require.Len(t, o.Warnings, 1)
}

// TestAllTogether: three likely targets are together less likely than asked.
func TestAllTogether(t *testing.T) {
	t.Parallel()
	c := course(10, eightOfTen, scored(8, 2, 3, 4, 5, 5, 6))
	for _, name := range []string{"recall", "down"} {
		c.Skills = append(c.Skills, workload.SkillRecord{Name: name, Target: eightOfTen, Sessions: scored(8, 2, 3, 4, 5, 5, 6)})
	}
	c.OnCoursePercent = 70
	o := lookAhead(t, c)
	product := 1.0
	for _, s := range o.Skills {
		require.Equal(t, 3, s.Further, "ten sessions among three skills")
		require.Greater(t, s.Both.Mean, .7)
		product *= s.Both.Mean
	}
	require.InDelta(t, product, o.All.Mean, 1e-12)
	require.Less(t, o.All.Mean, .7)
	require.InDelta(t, o.Skills[0].Share.Mean, o.AtMost, 1e-12)
	require.Equal(t, workload.AtRisk, o.Flag)
	require.Contains(t, o.Reasons[0], "each target alone is likely enough, all of them together are not")
	require.Contains(t, workload.OutlookAssumes, "independent")
	require.Contains(t, workload.OutlookCaution, "decide")
}

func TestSkillOutlook(t *testing.T) {
	t.Parallel()
	sessions := []workload.Session{{Number: 1, Trials: 10, Successes: 4, HoldSeconds: 10}, {Number: 2, Trials: 10, Successes: 6, HoldSeconds: 45},
		{Number: 4, Trials: 10, Successes: 9, HoldSeconds: 30}}
	s := lookAhead(t, course(5, workload.Target{Percent: 75, CheckTrials: 20, HoldSeconds: 60}, sessions)).Skills[0]
	require.Equal(t, "15 of 20 and a hold of 60 s", s.Target.String())
	require.Equal(t, []int{3, 30, 19, 45, 75, 5}, []int{s.Sessions, s.Trials, s.Successes, s.LongestHold, s.HoldPercent, s.Further})
	low, high := workload.Wilson(19, 30, workload.Z95)
	require.True(t, float64(s.LowPercent) <= 100*low && float64(s.LowPercent) > 100*low-1)
	require.True(t, float64(s.HighPercent) >= 100*high && float64(s.HighPercent) < 100*high+1)
	require.InDelta(t, s.Share.Mean*s.Hold.Mean, s.Both.Mean, 1e-12)
	fit, err := workload.FitCurve(sessions, workload.Pace{}, 0)
	require.NoError(t, err)
	require.Equal(t, fit, s.Curve)
}

func TestProposals(t *testing.T) {
	t.Parallel()
	c := course(5, eightOfTen, scored(8, 2, 2, 3, 4, 4))
	c.SessionsPerDay, c.MostExtraDays = 2, 30
	c.Skills = append(c.Skills, workload.SkillRecord{Name: "stay", Target: workload.Target{HoldSeconds: 180},
		Sessions: []workload.Session{{Number: 1, HoldSeconds: 10}, {Number: 2, HoldSeconds: 15}, {Number: 3, HoldSeconds: 20}}})
	o := lookAhead(t, c)
	require.Equal(t, workload.AtRisk, o.Flag)
	var kinds []workload.ProposalKind
	for _, p := range o.Proposals {
		kinds = append(kinds, p.Kind)
	}
	require.Equal(t, []workload.ProposalKind{workload.MoreSessions, workload.LongerStay, workload.SmallerGoal}, kinds)

	// Each proposal leads to the chance that it states: the changed course says the same.
	more := o.Proposals[0]
	changed := c
	changed.SessionsPerDay = more.SessionsPerDay
	require.InDelta(t, lookAhead(t, changed).All.Mean, more.Chance, 1e-9)
	require.LessOrEqual(t, more.SessionsPerDay, workload.DefaultMostSessions)

	longer := o.Proposals[1]
	changed = c
	changed.DaysLeft += longer.ExtraDays
	require.InDelta(t, lookAhead(t, changed).All.Mean, longer.Chance, 1e-9)
	require.True(t, longer.Enough, longer.Text)
	changed.DaysLeft--
	require.Less(t, lookAhead(t, changed).All.Mean, .7, "a day less would not be enough")

	smaller := o.Proposals[2]
	require.True(t, smaller.Enough, smaller.Text)
	changed = c
	changed.Skills = slices.Clone(c.Skills)
	for _, g := range smaller.Goals {
		i := slices.IndexFunc(changed.Skills, func(s workload.SkillRecord) bool { return s.Name == g.Skill })
		require.Equal(t, changed.Skills[i].Target, g.From)
		require.True(t, g.To.Percent < g.From.Percent || g.To.HoldSeconds < g.From.HoldSeconds)
		changed.Skills[i].Target = g.To
	}
	// Holds that reach the smaller goal say less once it is the goal ("at least"), so the two differ a little.
	require.InDelta(t, lookAhead(t, changed).All.Mean, smaller.Chance, .02)
	for _, p := range o.Proposals {
		require.Contains(t, p.Text, "the chance of meeting all targets would be")
	}
}

func TestProposalsWithinSettings(t *testing.T) {
	t.Parallel()
	c := course(2, eightOfTen, scored(8, 0, 1, 0, 1, 0))
	c.SessionsPerDay, c.MostSessions, c.MostExtraDays = 3, 3, 2
	o := lookAhead(t, c)
	require.Equal(t, workload.LongerStay, o.Proposals[0].Kind, "no more sessions a day than the site allows")
	require.Equal(t, 2, o.Proposals[0].ExtraDays)
	require.False(t, o.Proposals[0].Enough)
	require.Contains(t, o.Proposals[0].Text, "which is less than the site asks")
	goal := o.Proposals[1].Goals[0]
	require.Equal(t, workload.Target{Percent: 50}, goal.To, "no goal below the smallest")

	c.Skills[0].Target = workload.Target{Percent: 40}
	o = lookAhead(t, c)
	require.Len(t, o.Proposals, 1, "a goal below the smallest stays as it is")
}

func TestLookAheadRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(*workload.Course)
		want   string
	}{
		{"no skills", func(c *workload.Course) { c.Skills = nil }, "readiness: skills 0: use 1 to 50"},
		{"tier", func(c *workload.Course) { c.BreedTier = 7 }, "breed tier 7"},
		{"days", func(c *workload.Course) { c.DaysLeft = -1 }, "training days left -1"},
		{"sessions", func(c *workload.Course) { c.SessionsPerDay = 0 }, "sessions a day 0: use 1 to 8"},
		{"skills a session", func(c *workload.Course) { c.SkillsPerSession = -1 }, "skills a session -1"},
		{"on course", func(c *workload.Course) { c.OnCoursePercent = 100 }, "chance to be on course in percent 100: use 0 to 99"},
		{"extra days", func(c *workload.Course) { c.MostExtraDays = -1 }, "most extra days -1"},
		{"most sessions", func(c *workload.Course) { c.MostSessions = 9 }, "most sessions a day 9"},
		{"pace", func(c *workload.Course) { c.Pace.Theta = 1 }, "typical pace"},
		{"name", func(c *workload.Course) { c.Skills[0].Name = "" }, `skill "": give every skill a name of its own`},
		{"twice", func(c *workload.Course) { c.Skills = append(c.Skills, c.Skills[0]) }, `skill "heel": give every skill a name of its own`},
		{"weight", func(c *workload.Course) { c.Skills[0].Weight = -1 }, `skill "heel": weight -1`},
		{"no target", func(c *workload.Course) { c.Skills[0].Target = workload.Target{} }, `skill "heel": no target`},
		{"percent", func(c *workload.Course) { c.Skills[0].Target.Percent = 101 }, "target of 101 %"},
		{"trials", func(c *workload.Course) { c.Skills[0].Target.CheckTrials = 101 }, "check of 101 trials"},
		{"hold", func(c *workload.Course) { c.Skills[0].Target.HoldSeconds = -1 }, "hold of -1 seconds"},
		{"session", func(c *workload.Course) { c.Skills[0].Sessions = scored(3, 4) }, `skill "heel": session 1: successes 4: use 0 to 3`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c := course(5, eightOfTen, scored(8, 2))
			tt.change(&c)
			_, err := workload.LookAhead(c)
			require.ErrorContains(t, err, tt.want)
		})
	}
}

func anyCourse(t *rapid.T) workload.Course {
	c := workload.Course{BreedTier: rapid.IntRange(0, 6).Draw(t, "tier"), DaysLeft: rapid.IntRange(0, 20).Draw(t, "days"),
		SessionsPerDay: rapid.IntRange(1, 4).Draw(t, "a day"), SkillsPerSession: rapid.IntRange(0, 3).Draw(t, "a session")}
	for _, name := range []string{"heel", "stay", "recall"}[:rapid.IntRange(1, 3).Draw(t, "skills")] {
		target := workload.Target{Percent: rapid.SampledFrom([]int{0, 60, 80, 100}).Draw(t, "percent"),
			HoldSeconds: rapid.SampledFrom([]int{0, 30, 180}).Draw(t, "hold")}
		if target == (workload.Target{}) {
			target.Percent = 70
		}
		c.Skills = append(c.Skills, workload.SkillRecord{Name: name, Target: target, Weight: rapid.IntRange(0, 3).Draw(t, "weight"),
			Sessions: anySessions(t, 8)})
	}
	return c
}

func inUnit(t require.TestingT, chances ...workload.Chance) {
	for _, c := range chances {
		require.True(t, 0 <= c.Low && c.Low <= c.Mean && c.Mean <= c.High && c.High <= 1, "%+v", c)
	}
}

func TestLookAheadProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := anyCourse(t)
		o := lookAhead(t, c)
		inUnit(t, o.All)
		require.True(t, o.All.Mean <= o.AtMost && o.AtMost <= 1)
		require.NotEmpty(t, o.Reasons)
		for i, s := range o.Skills {
			inUnit(t, s.Rate, s.Share, s.Hold, s.Both)
			require.True(t, 0 <= s.LowPercent && s.LowPercent <= s.HighPercent && s.HighPercent <= 100)
			require.True(t, s.Curve.Start > 0 && s.Curve.Start < 1 && s.Curve.Theta > 0 && s.Curve.Theta < 1)
			require.True(t, s.Curve.StartError > 0 && s.Curve.ThetaError > 0)
			if c.Skills[i].Target.Percent > 0 && s.Trials > 0 && s.Successes == 0 {
				require.NotEqual(t, workload.OnCourse, o.Flag, "a dog that never passed is not on course")
			}
		}
		if o.Flag == workload.OnCourse {
			require.GreaterOrEqual(t, o.All.Mean, .7)
			require.Empty(t, o.Warnings)
			require.Empty(t, o.Proposals)
		}
		for _, p := range o.Proposals {
			require.GreaterOrEqual(t, p.Chance, o.All.Mean-1e-9, p.Text)
			require.Equal(t, p.Chance >= .7, p.Enough)
		}

		longer := c
		longer.DaysLeft += rapid.IntRange(1, 5).Draw(t, "more days")
		later := lookAhead(t, longer)
		for i := range o.Skills {
			require.GreaterOrEqual(t, later.Skills[i].Both.Mean, o.Skills[i].Both.Mean-1e-12, "more sessions never lower a chance")
		}

		mixed := c
		mixed.Skills = slices.Clone(c.Skills)
		for i := range mixed.Skills {
			if n := len(mixed.Skills[i].Sessions); n > 0 {
				mixed.Skills[i].Sessions = rapid.Permutation(mixed.Skills[i].Sessions).Draw(t, "order")
			}
		}
		require.Equal(t, o, lookAhead(t, mixed), "the order of the records changes nothing")
	})
}

// TestOneMoreSuccess: a pass instead of a failure in the latest session never lowers the chance. (In an early session it may: the
// same end from a better start is slower learning.)
func TestOneMoreSuccess(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		sessions := anySessions(t, 8)
		last := workload.Session{Number: 1, Trials: rapid.IntRange(1, 12).Draw(t, "last trials")}
		if n := len(sessions); n > 0 {
			last.Number = sessions[n-1].Number + 1
		}
		last.Successes = rapid.IntRange(0, last.Trials-1).Draw(t, "last successes")
		better := last
		better.Successes++
		days := rapid.IntRange(0, 12).Draw(t, "days")
		before := lookAhead(t, course(days, eightOfTen, append(slices.Clone(sessions), last))).Skills[0]
		after := lookAhead(t, course(days, eightOfTen, append(slices.Clone(sessions), better))).Skills[0]
		// Each grid fits its own data, which moves a mean by less than a hundred-thousandth.
		require.GreaterOrEqual(t, after.Share.Mean, before.Share.Mean-1e-5)
		require.GreaterOrEqual(t, after.Rate.Mean, before.Rate.Mean-1e-5)
		require.GreaterOrEqual(t, after.LowPercent, before.LowPercent)
	})
}

// TestExtremes: the furthest records and paces that are let in still give numbers.
func TestExtremes(t *testing.T) {
	t.Parallel()
	for _, number := range []int{1, 10_000} {
		for _, successes := range []int{0, 1, 999, 1000} {
			for _, hold := range []int{1, 3600} {
				for _, spread := range []float64{.05, 3} {
					for _, theta := range []float64{.001, .9} {
						c := course(365, workload.Target{Percent: 100, CheckTrials: 100, HoldSeconds: 3600},
							[]workload.Session{{Number: number, Trials: 1000, Successes: successes, HoldSeconds: hold}})
						c.SessionsPerDay = 8
						c.Pace = workload.Pace{Start: theta, StartSpread: spread, Theta: theta, ThetaSpread: spread, HoldGrowth: 2, HoldGrowthSpread: spread}
						s := lookAhead(t, c).Skills[0]
						inUnit(t, s.Rate, s.Share, s.Hold, s.Both)
						curve := s.Curve
						for _, v := range []float64{curve.Start, curve.Theta, curve.StartError, curve.ThetaError} {
							require.True(t, v >= 0 && v <= 1, "number %d successes %d hold %d spread %v theta %v: %+v", number, successes, hold, spread, theta, curve)
						}
					}
				}
			}
		}
	}
}

// TestOtherSessions: sessions beside the training days count like others, and stay what they are when there are more a day.
func TestOtherSessions(t *testing.T) {
	t.Parallel()
	c := course(4, eightOfTen, scored(8, 1, 2, 1, 2))
	c.SessionsPerDay, c.OtherSessions = 2, 3
	o := lookAhead(t, c)
	require.Equal(t, 11, o.Skills[0].Further)
	plain := course(11, eightOfTen, scored(8, 1, 2, 1, 2))
	require.Equal(t, lookAhead(t, plain).All, o.All)
	for _, p := range o.Proposals {
		changed := c
		switch p.Kind {
		case workload.MoreSessions:
			changed.SessionsPerDay = p.SessionsPerDay
		case workload.LongerStay:
			changed.DaysLeft += p.ExtraDays
		default:
			continue
		}
		require.InDelta(t, p.Chance, lookAhead(t, changed).All.Mean, 1e-12)
	}
	require.NotEmpty(t, o.Proposals)
	c.WithoutProposals = true
	quick := lookAhead(t, c)
	require.Empty(t, quick.Proposals)
	o.Proposals = nil
	require.Equal(t, o, quick, "nothing else is otherwise")
	for _, bad := range []int{-1, 2921} {
		c.OtherSessions = bad
		_, err := workload.LookAhead(c)
		require.ErrorContains(t, err, "other sessions")
	}
}
