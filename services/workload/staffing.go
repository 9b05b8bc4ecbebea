package workload

// CareStaff returns how many people are needed to give every dog its daily care (CareMinutes each) within a window of so
// many minutes, rounded up. Source of the 15 minutes and the formula: NACA/HSUS, cited by ASV 2010. No dogs need nobody; a
// window that is not positive answers 0 as well, because no staff would be enough.
func CareStaff(dogs, windowMinutes int) int {
	if dogs <= 0 || windowMinutes <= 0 {
		return 0
	}
	return (dogs*CareMinutes + windowMinutes - 1) / windowMinutes
}

// DogsInHand returns how many dogs a trainer's working day holds at so many minutes a dog. fixed minutes (handovers, intakes)
// are taken off first.
func DogsInHand(minutes, fixed, minutesPerDog int) int {
	if minutesPerDog <= 0 || minutes <= fixed {
		return 0
	}
	return (minutes - fixed) / minutesPerDog
}

// WorkingMinutes returns what is left of a paid day after meal and rest.
func WorkingMinutes(paid, meal, rest int) int { return max(0, paid-meal-rest) }

// Population returns the mean number of dogs present when so many arrive a day and each stays so many days on average:
// Little's law, L = lambda W (Little 1961, from memory). It holds whatever the order and spread of arrivals.
func Population(arrivalsPerDay, meanDays float64) float64 { return arrivalsPerDay * meanDays }

// MeanStay returns the mean stay in days that so many dogs present and so many departures a day imply: Little's law solved
// for W. Without departures there is no mean; the answer is 0.
func MeanStay(present, departuresPerDay float64) float64 {
	if departuresPerDay <= 0 {
		return 0
	}
	return present / departuresPerDay
}
