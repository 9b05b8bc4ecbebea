//go:build race

package exchange_test

// manyRequests is fewer under the race detector, which makes everything several times slower.
const manyRequests = 20_000
