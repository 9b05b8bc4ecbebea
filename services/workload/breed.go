package workload

import (
	"fmt"
	"math"
)

// BreedTier is one tier of the table in S. Coren, The Intelligence of Dogs (1994, revised 2006), which ranks breeds by the
// judgement of 199 obedience judges. It speaks of breeds on average and of obedience only.
type BreedTier struct {
	// Tier is 1 (fewest repetitions) to 6.
	Tier int
	// FirstRank and LastRank are the ranks of the breeds in the tier.
	FirstRank, LastRank int
	// LeastRepetitions and MostRepetitions are how often a new command must be repeated. MostRepetitions of tier 6 is
	// "100 or more".
	LeastRepetitions, MostRepetitions int
	// ObeysPercent is how often a dog of the tier obeys the first command: at least that often, in tier 6 at most.
	ObeysPercent int
}

// BreedTiers returns the table. Tiers 1 to 3 were read in a secondary text, tiers 4 to 6 are from memory.
func BreedTiers() []BreedTier {
	return []BreedTier{
		{1, 1, 10, 0, 5, 95},
		{2, 11, 26, 5, 15, 85},
		{3, 27, 39, 15, 25, 70},
		{4, 40, 54, 25, 40, 50},
		{5, 55, 69, 40, 80, 30},
		{6, 70, 79, 80, 100, 25},
	}
}

const sourceBreed = "Coren 1994 (tiers); Morrill et al. 2022, Science 376:eabk0639 (breed explains 9 % of behaviour)"

const (
	// BreedShare is the part of the variation in behaviour between dogs that their breed explains: 9 %. Source: Morrill et al.
	// 2022, Science 376:eabk0639.
	BreedShare = .09
	// withinBreed is the rest: how much dogs of one breed differ.
	withinBreed = 1 - BreedShare
	// percentPerDeviation is how much training time one standard deviation of trainability changes. Our own setting.
	percentPerDeviation = 10
	// mostDeviations bounds what trainability may change, so that no record can shrink a day to nothing. Our own setting.
	mostDeviations = 2
	// typicalScore and scoreSpread place a mean session score, in percent, among dogs. Our own setting.
	typicalScore = 60
	scoreSpread  = 20
	// answerSpread is how far one point of an answer is from the middle, in standard deviations. Our own setting.
	answerSpread = .5
	// answersWeigh is how many sessions the owner's answers weigh as much as. Our own setting.
	answersWeigh = 1
)

// TierEffect returns how far a tier lies from the middle of all ranked breeds, in standard deviations: positive is quicker.
// Tier 0 (unknown), and any other number outside 1 to 6, is 0, the middle.
func TierEffect(tier int) float64 {
	tiers := BreedTiers()
	if tier < 1 || tier > len(tiers) {
		return 0
	}
	ranks := float64(tiers[len(tiers)-1].LastRank)
	middle := (ranks + 1) / 2
	spread := math.Sqrt((ranks*ranks - 1) / 12) // standard deviation of the ranks 1 to n
	t := tiers[tier-1]
	return (middle - float64(t.FirstRank+t.LastRank)/2) / spread
}

// BreedPrior returns what a tier says about one dog before it is known, in standard deviations: the tier's effect shrunk by
// the correlation .30, the root of BreedShare.
func BreedPrior(tier int) float64 { return math.Sqrt(BreedShare) * TierEffect(tier) }

// OwnWeight returns how much a dog's own record of n sessions outweighs its breed, 0 to 1: .91 / (.91 + 1/n), the weight of
// the mean of n observations with unit noise against a prior with the variation within a breed. No record weighs nothing.
func OwnWeight(n int) float64 {
	if n <= 0 {
		return 0
	}
	return withinBreed / (withinBreed + 1/float64(n))
}

// addStanding changes the training minutes by how quickly the dog is expected to learn: what its breed says, which is little,
// and what its owner and its sessions say, which soon outweighs it.
func (w *work) addStanding(in Input) {
	own, n := ownRecord(in)
	weight := OwnWeight(n)
	prior := BreedPrior(in.BreedTier)
	total := w.learningMinutes(weight*own + (1-weight)*prior)
	byBreed := w.learningMinutes((1 - weight) * prior)
	w.minutes("breed", byBreed,
		fmt.Sprintf("breeds of tier %d learn %s on average; a weak prior that counts %.0f %%", in.BreedTier, pace(byBreed), 100*(1-weight)),
		sourceBreed)
	w.minutes("own record", total-byBreed,
		fmt.Sprintf("its own record suggests %s learning; it counts %.0f %%", pace(total-byBreed), 100*weight),
		"weight: .91/(.91+1/n) from Morrill et al. 2022; scale: "+sourceOurs)
}

// learningMinutes turns a standing among dogs, in standard deviations, into minutes on top of the training time.
func (w *work) learningMinutes(standing float64) int {
	return int(math.Round((learningFactor(standing) - 1) * float64(w.training)))
}

// learningFactor turns a standing into what training minutes are multiplied by.
func learningFactor(standing float64) float64 {
	return 1 - max(-mostDeviations, min(mostDeviations, standing))*percentPerDeviation/100
}

func pace(minutes int) string {
	if minutes < 0 {
		return "quicker"
	}
	return "slower"
}

// ownRecord returns what is known of the dog itself, in standard deviations, and how many sessions that weighs as.
func ownRecord(in Input) (standing float64, n int) {
	var sum float64
	if said, ok := answeredStanding(in.Answers); ok {
		sum += answersWeigh * said
		n += answersWeigh
	}
	switch {
	case in.Observed.Sessions > 0:
		sum += float64(in.Observed.Sessions) * in.Observed.bounded()
		n += in.Observed.Sessions
	case in.Logged.Sessions > 0:
		sum += float64(in.Logged.Sessions) * float64(in.Logged.MeanScore-typicalScore) / scoreSpread
		n += in.Logged.Sessions
	}
	if n == 0 {
		return 0, 0
	}
	return sum / float64(n), n
}

// answeredStanding reads trainability from the two answers that speak of it: earlier training helps, excitement hinders.
func answeredStanding(answers map[Question]int) (float64, bool) {
	const middle = 2 // of the scale 0 to 4
	var sum float64
	var n int
	if a, ok := answers[EarlierTraining]; ok {
		sum += answerSpread * float64(a-middle)
		n++
	}
	if a, ok := answers[Excitable]; ok {
		sum += answerSpread * float64(middle-a)
		n++
	}
	if n == 0 {
		return 0, false
	}
	return sum / float64(n), true
}
