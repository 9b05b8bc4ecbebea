package workload

import "math"

// curveData is what the likelihood of a learning curve needs of the sessions. A trial of session x+1 fails with the chance
// (1-p0)(1-theta)^x, so failures add up to two sums and only successes are kept session by session.
type curveData struct {
	// at and successes go together, by session.
	at        []int
	successes []float64
	// failures is how many trials failed, failedAt the sum of x over them.
	failures, failedAt float64
}

// curveDataOf expects the sessions in order.
func curveDataOf(sessions []Session) curveData {
	var d curveData
	for _, s := range sessions {
		x, failed := s.Number-1, float64(s.Trials-s.Successes)
		d.failures += failed
		d.failedAt += failed * float64(x)
		switch last := len(d.at) - 1; {
		case s.Successes == 0:
		case last >= 0 && d.at[last] == x:
			d.successes[last] += float64(s.Successes)
		default:
			d.at = append(d.at, x)
			d.successes = append(d.successes, float64(s.Successes))
		}
	}
	return d
}

// logLikelihood takes the logits of p0 and theta; the binomial coefficients are left out.
func (d curveData) logLikelihood(a, b float64) float64 {
	miss, left := logistic(-a), logistic(-b) // 1-p0 and 1-theta
	sum := d.failures*math.Log(miss) + d.failedAt*math.Log(left)
	x := 0
	for i, k := range d.successes {
		switch gap := d.at[i] - x; gap {
		case 0:
		case 1:
			miss *= left
		default:
			miss *= math.Pow(left, float64(gap))
		}
		x = d.at[i]
		sum += k * math.Log(1-miss)
	}
	return sum
}

// Curve is the learning curve that fits best: the maximum of the likelihood of the logged trials times the prior of the pace,
// which draws it towards the typical dog while records are few. It is there with no records too, and is then the typical dog.
type Curve struct {
	// Start is p0 and Theta the part of what is missing that a session closes.
	Start, Theta float64
	// StartError and ThetaError are their standard errors, from the observed information: the curvature at the maximum.
	StartError, ThetaError float64
	// Standing is how far Theta lies from the typical dog's, in standard deviations between dogs.
	Standing float64
}

// FitCurve fits the learning curve of one skill, for a breed tier of 1 to 6 or 0 for unknown. It returns an error for a session
// or a pace that cannot be.
func FitCurve(sessions []Session, pace Pace, breedTier int) (Curve, error) {
	for _, s := range sessions {
		if err := s.validate(); err != nil {
			return Curve{}, err
		}
	}
	if err := pace.Validate(); err != nil {
		return Curve{}, err
	}
	return fitCurve(curveDataOf(inOrder(sessions)), pace.orDefaults(), breedTier), nil
}

// slope is the gradient and the second derivatives of the logarithm of likelihood times prior.
type slope struct{ a, b, aa, ab, bb float64 }

// slopeAt differentiates by the logits of p0 and theta. With u = log(1-p) of a session, u_a = -p0, u_b = -x theta, and a
// session's logarithm is k log(1-e^u) + (n-k) u.
func (d curveData) slopeAt(a, b float64, priorA, priorB normal) slope {
	start, theta := logistic(a), logistic(b)
	s := slope{
		a:  -(a-priorA.mean)/(priorA.spread*priorA.spread) - d.failures*start,
		b:  -(b-priorB.mean)/(priorB.spread*priorB.spread) - d.failedAt*theta,
		aa: -1/(priorA.spread*priorA.spread) - d.failures*start*(1-start),
		bb: -1/(priorB.spread*priorB.spread) - d.failedAt*theta*(1-theta),
	}
	for i, k := range d.successes {
		x := float64(d.at[i])
		miss := math.Exp(math.Log(1-start) + x*math.Log(1-theta))
		pass := 1 - miss
		first, second := -k*miss/pass, -k*miss/(pass*pass)
		ua, ub := -start, -x*theta
		s.a += first * ua
		s.b += first * ub
		s.aa += second*ua*ua - first*start*(1-start)
		s.bb += second*ub*ub - first*x*theta*(1-theta)
		s.ab += second * ua * ub
	}
	return s
}

// fitCurve climbs from the typical dog by Newton's method. Where the surface is not curved downward, or a step does not climb,
// the step is drawn towards the gradient and shortened; the priors see to it that there is a top.
func fitCurve(d curveData, pace Pace, tier int) Curve {
	const steps, enough = 200, 1e-10
	priorA, priorB := pace.start(), pace.theta(tier)
	height := func(a, b float64) float64 { return priorA.logDensity(a) + priorB.logDensity(b) + d.logLikelihood(a, b) }
	a, b := priorA.mean, priorB.mean
	now, damp := height(a, b), 0.0
	for range steps {
		s := d.slopeAt(a, b, priorA, priorB)
		if math.Hypot(s.a, s.b) < enough {
			break
		}
		da, db, ok := s.newton(damp)
		if next := height(a+da, b+db); ok && next >= now {
			a, b, now, damp = a+da, b+db, next, damp/4
			continue
		}
		damp = max(1e-3, 4*damp)
		if damp > 1e12 {
			break // no step climbs any more: this is the top to the last bit
		}
	}
	errorA, errorB := d.slopeAt(a, b, priorA, priorB).errors()
	start, theta := logistic(a), logistic(b)
	typical := pace.theta(0)
	return Curve{
		Start: start, Theta: theta,
		// By the delta method: the derivative of the logistic function is p(1-p).
		StartError: start * (1 - start) * errorA, ThetaError: theta * (1 - theta) * errorB,
		Standing: (b - typical.mean) / typical.spread,
	}
}

// newton solves (information + damp) step = gradient.
func (s slope) newton(damp float64) (da, db float64, ok bool) {
	aa, bb, ab := damp-s.aa, damp-s.bb, -s.ab
	det := aa*bb - ab*ab
	if aa <= 0 || det <= 0 {
		return 0, 0, false
	}
	return (bb*s.a - ab*s.b) / det, (aa*s.b - ab*s.a) / det, true
}

// errors inverts the observed information.
func (s slope) errors() (a, b float64) {
	det := s.aa*s.bb - s.ab*s.ab
	return math.Sqrt(-s.bb / det), math.Sqrt(-s.aa / det)
}

// curveCells is the posterior of a learning curve.
func curveCells(sessions []Session, pace Pace, tier int) []cell {
	cells := posterior(pace.start(), pace.theta(tier), curveDataOf(sessions).logLikelihood)
	for i, c := range cells {
		cells[i] = c.curved()
	}
	return cells
}

// curved makes a cell one of a learning curve: u and v are the logarithms of 1-p0 and of 1-theta.
func (c cell) curved() cell {
	c.u, c.v = math.Log(logistic(-c.a)), math.Log(logistic(-c.b))
	return c
}

// passes returns the chance that a dog with the curve of a cell passes at least need of n trials after so many sessions.
func passes(c cell, sessions, need, n int) float64 {
	return binomialTail(1-math.Exp(c.u+c.v*float64(sessions)), need, n)
}

// binomialTail returns the chance of at least need successes in n trials. It adds up the side that is shorter to add.
func binomialTail(p float64, need, n int) float64 {
	switch {
	case need <= 0:
		return 1
	case need > n || p <= 0:
		return 0
	case p >= 1:
		return 1
	case 2*need < n: // few failures are asked for, so count those that fail
		return 1 - binomialTail(1-p, n-need+1, n)
	}
	term := power(p, n) // all pass
	sum, odds := term, (1-p)/p
	for j := n - 1; j >= need; j-- {
		term *= odds * float64(j+1) / float64(n-j)
		sum += term
	}
	return min(1, sum)
}

// power is p to the n by squaring, which is much quicker than math.Pow for the few trials of a check.
func power(p float64, n int) float64 {
	all := 1.0
	for ; n > 0; n >>= 1 {
		if n&1 == 1 {
			all *= p
		}
		p *= p
	}
	return all
}
