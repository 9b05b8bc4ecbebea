//go:build !race

package planner_test

const underRace = false
