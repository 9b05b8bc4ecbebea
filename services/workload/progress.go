package workload

import (
	"fmt"
	"math"
)

// Z95 is the standard normal quantile of a two-sided 95 % interval.
const Z95 = 1.959963984540054

// Defaults of the pass mark. All are settings of our own; the method is Wilson's.
const (
	// DefaultPassPercent is the success rate that a dog must have shown: the lower bound of the interval, not the plain
	// rate, must reach it. 10 of 10 reaches 72 %, 18 of 20 reaches 69 %, 9 of 10 only 59 %.
	DefaultPassPercent = 65
	// FewSessions is the number of scored trials below which an interval is too wide to say much.
	FewSessions = 8
)

// Wilson returns the score interval for a success rate after passes of n trials, with z standard normal quantiles to each
// side (Z95 for 95 %). Source: E. B. Wilson 1927, J. Am. Stat. Assoc. 22:209-212. Without trials, or with counts that cannot
// be, nothing is known and the answer is 0 to 1.
func Wilson(passes, n int, z float64) (low, high float64) {
	if n <= 0 || passes < 0 || passes > n {
		return 0, 1
	}
	count, rate, z2 := float64(n), float64(passes)/float64(n), z*z
	centre := rate + z2/(2*count)
	reach := z * math.Sqrt(rate*(1-rate)/count+z2/(4*count*count))
	scale := 1 + z2/count
	low, high = max(0, (centre-reach)/scale), min(1, (centre+reach)/scale)
	// At the ends one bound is exact; rounding must not leave a trace of 1e-17 there.
	if passes == 0 {
		low = 0
	}
	if passes == n {
		high = 1
	}
	return low, high
}

// LearningCurve returns the success rate after n sessions when each session closes the same part theta of what is missing:
// p(n+1) = p(n) + theta (1 - p(n)), starting from p0. Source: Bush & Mosteller, Rescorla & Wagner (from memory); Heathcote et
// al. 2000 prefer this exponential form to a power law. p0 and theta lie in 0 to 1.
func LearningCurve(p0, theta float64, n int) float64 {
	return 1 - (1-p0)*math.Pow(1-theta, float64(max(0, n)))
}

// SessionsTo returns after how many sessions LearningCurve first reaches target, and false when it never does.
func SessionsTo(p0, theta, target float64) (int, bool) {
	switch {
	case p0 >= target:
		return 0, true
	case target > 1 || theta <= 0 || (target == 1 && theta < 1):
		return 0, false
	case theta >= 1:
		return 1, true
	}
	n := int(math.Ceil(math.Log((1-target)/(1-p0)) / math.Log(1-theta)))
	// The logarithms may be off by one in the last bit; the curve itself decides.
	for n > 0 && LearningCurve(p0, theta, n-1) >= target {
		n--
	}
	for LearningCurve(p0, theta, n) < target {
		n++
	}
	return n, true
}

// Readiness says how far a dog is with one skill.
type Readiness string

// The states of readiness.
const (
	// TooFew means that there are too few scored trials to say.
	TooFew Readiness = "too few sessions"
	// NotYet means that the pass mark is not shown.
	NotYet Readiness = "not yet"
	// Ready means that even the cautious end of the interval reaches the pass mark.
	Ready Readiness = "ready"
)

// Progress is what scored trials say about one skill.
type Progress struct {
	State Readiness
	// LowPercent and HighPercent bound the success rate with 95 % confidence, rounded outward to whole percent.
	LowPercent, HighPercent int
	// Text says it in words, with a warning where the numbers are small.
	Text string
}

// Judge holds passes of n trials against a pass mark in percent (0 takes DefaultPassPercent). It informs the trainer, who
// decides: no published test predicts a single dog well (Bray et al. 2019, Front. Vet. Sci. 6:49: accuracies from 64 % up).
func Judge(passes, n, passPercent int) (Progress, error) {
	if passPercent == 0 {
		passPercent = DefaultPassPercent
	}
	if n < 0 || passes < 0 || passes > n {
		return Progress{}, fmt.Errorf("%d passes of %d trials: passes must lie between 0 and the number of trials", passes, n)
	}
	if passPercent < 1 || passPercent > 99 {
		return Progress{}, fmt.Errorf("pass mark of %d %%: use 1 to 99; no number of trials proves 100", passPercent)
	}
	low, high := Wilson(passes, n, Z95)
	p := Progress{State: NotYet, LowPercent: int(math.Floor(100 * low)), HighPercent: int(math.Ceil(100 * high))}
	switch {
	case low >= float64(passPercent)/100:
		p.State = Ready
	case n < FewSessions:
		p.State = TooFew
	}
	p.Text = fmt.Sprintf("%d of %d passed: the success rate lies between %d %% and %d %%; %d %% is asked for",
		passes, n, p.LowPercent, p.HighPercent, passPercent)
	if n < FewSessions {
		p.Text += fmt.Sprintf(". Fewer than %d trials say little", FewSessions)
	}
	return p, nil
}
