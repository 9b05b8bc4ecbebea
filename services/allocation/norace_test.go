//go:build !race

package allocation_test

const raceDetector = false
