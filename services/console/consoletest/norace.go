//go:build !race

package consoletest

// UnderRace is true with the race detector.
const UnderRace = false
