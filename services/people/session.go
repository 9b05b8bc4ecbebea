package people

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"time"

	"github.com/longlead/longlead/services/apperr"
)

// How long a sign-in lasts.
const (
	// SessionIdle ends one that nobody uses. As use is noted every SeenEvery only, it may come that much earlier.
	SessionIdle = 12 * time.Hour
	// SessionLife ends every one.
	SessionLife = 30 * 24 * time.Hour
	// SeenEvery is how often at most use is written down.
	SeenEvery = 5 * time.Minute
)

// session is an open sign-in. It is over from expires on.
type session struct {
	made, seen, expires time.Time
}

// openSession begins one.
func openSession(now time.Time) session {
	return session{made: now, seen: now, expires: expiry(now, now)}
}

// expiry is when a session ends that was made and last seen at these times.
func expiry(made, seen time.Time) time.Time {
	end, idle := made.Add(SessionLife), seen.Add(SessionIdle)
	if idle.Before(end) {
		return idle
	}
	return end
}

func (s session) over(now time.Time) bool { return !now.Before(s.expires) }

// due reports whether use at a time is to be written down. The statement of findSession says the same.
func (s session) due(now time.Time) bool { return !s.over(now) && now.Sub(s.seen) >= SeenEvery }

// use is the session after somebody used it: unchanged where it is over, or where it was noted a moment ago.
func (s session) use(now time.Time) session {
	if s.due(now) {
		s.seen, s.expires = now, expiry(s.made, now)
	}
	return s
}

// newSecret makes the secret that a browser keeps: 256 random bits.
func newSecret() string {
	var bits [32]byte
	_, _ = rand.Read(bits[:]) // never fails: crypto/rand ends the program instead
	return base64.RawURLEncoding.EncodeToString(bits[:])
}

// hashSecret is what is kept of a secret. It needs no salt and no slowness, as nobody guesses 256 bits.
func hashSecret(secret string) []byte {
	hash := sha256.Sum256([]byte(secret))
	return hash[:]
}

func sessionUnknown() error {
	return apperr.Unauthenticatedf("SESSION_UNKNOWN", "You are not signed in: sign in first.")
}

func sessionOver() error {
	return apperr.Unauthenticatedf("SESSION_OVER", "Your sign-in has ended: sign in again.")
}
