//go:build !race

package dayblocks_test

const raceDetector = false
