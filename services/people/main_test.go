package people

import (
	"os"
	"testing"

	"github.com/alexedwards/argon2id"
)

// strong is what the program hashes with.
var strong = hashing

// TestMain lets the other tests hash quickly: what they are about is not how strong a hash is (TestHashesAreStrongEnough).
func TestMain(m *testing.M) {
	hashing = argon2id.Params{Memory: 64, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32}
	os.Exit(m.Run())
}
