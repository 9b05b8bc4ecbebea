//go:build !race

package exchange_test

// manyRequests is how many requests the large file has.
const manyRequests = 100_000
