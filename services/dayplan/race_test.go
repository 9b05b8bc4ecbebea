//go:build race

package dayplan

// raceDetector says that the tests run many times slower: the longest ones then do part of their work.
const raceDetector = true
