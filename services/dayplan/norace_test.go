//go:build !race

package dayplan

const raceDetector = false
