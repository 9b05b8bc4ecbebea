//go:build race

package planner_test

// underRace is true with the race detector, under which a search takes about ten times as long.
const underRace = true
