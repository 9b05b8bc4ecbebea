//go:build race

package consoletest

// UnderRace is true with the race detector, under which a search takes about ten times as long.
const UnderRace = true
