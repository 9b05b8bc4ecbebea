package people

import (
	"context"
	"crypto/rand"
	"fmt"
	"math/big"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"
	"golang.org/x/text/unicode/norm"

	"github.com/longlead/longlead/services/apperr"
)

// LeastPassword and MostPassword are the limits of a password's length in characters. NIST SP 800-63B-4 asks for 15 where nothing else is asked for
// at sign-in, for room for 64 and more, for a list of common ones, and for no rules about which characters are used (all from memory).
const (
	LeastPassword = 15
	MostPassword  = 256
)

// hashing is what a password is hashed with: above the least that OWASP names for argon2id (19 MiB, two passes, one lane).
var hashing = argon2id.Params{Memory: 32 << 10, Iterations: 3, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// hashesAtOnce bounds the memory that sign-ins take: 32 MiB each. Who comes later waits, and after hashPatience is told to try again.
const (
	hashesAtOnce = 4
	hashPatience = 5 * time.Second
)

// hasher computes a few hashes at once, over the whole process.
type hasher chan struct{}

func newHasher() hasher { return make(hasher, hashesAtOnce) }

// theHasher is shared by all that hash here: memory is the machine's, not a server's.
var theHasher = newHasher()

func (h hasher) do(ctx context.Context, work func() error) error {
	timer := time.NewTimer(hashPatience)
	defer timer.Stop()
	select {
	case h <- struct{}{}:
		defer func() { <-h }()
		return work()
	case <-ctx.Done():
		return fmt.Errorf("wait for a turn to check a password: %w", ctx.Err())
	case <-timer.C:
		return apperr.Unavailablef("SIGN_IN_BUSY", "Too many people are signing in at this moment: try again in a minute.")
	}
}

// hash makes the hash of a password, with a salt of its own.
func (h hasher) hash(ctx context.Context, password string) (hashed string, err error) {
	err = h.do(ctx, func() (err error) {
		hashed, err = argon2id.CreateHash(plain(password), &hashing)
		return err
	})
	return hashed, err
}

// matches reports whether a password is the one that was hashed.
func (h hasher) matches(ctx context.Context, password, hashed string) (ok bool, err error) {
	err = h.do(ctx, func() (err error) {
		ok, err = argon2id.ComparePasswordAndHash(plain(password), hashed)
		return err
	})
	return ok, err
}

// plain makes one spelling of what different keyboards send for the same characters (NIST SP 800-63B: NFKC or NFKD).
func plain(password string) string { return norm.NFKC.String(password) }

// checkPassword says what is wrong with a password that somebody is to have.
func checkPassword(password, login, name string) error {
	if fault := passwordFault(password, login, name); fault != "" {
		return apperr.InvalidField("password", fault, "take a few words that do not belong together; any characters will do")
	}
	return nil
}

func passwordFault(password, login, name string) string {
	if !utf8.ValidString(password) || strings.ContainsFunc(password, unicode.IsControl) {
		return "must be one line of text"
	}
	text := plain(password)
	n := utf8.RuneCountInString(text)
	low := strings.ToLower(strings.Join(strings.Fields(text), ""))
	switch {
	case n < LeastPassword:
		return fmt.Sprintf("must have at least %d characters", LeastPassword)
	case n > MostPassword || len(text) > 4*MostPassword:
		return fmt.Sprintf("must have at most %d characters", MostPassword)
	case repeats(low, login), repeats(low, strings.ToLower(strings.Join(strings.Fields(name), ""))):
		return "must not be the login or the name"
	case isCommon(low):
		return "must not be one of those that everybody tries first"
	}
	return ""
}

// repeats reports whether a text is a word, once or several times over, with digits and marks around it.
func repeats(text, word string) bool {
	if word == "" || !strings.Contains(text, word) {
		return false
	}
	rest := strings.ReplaceAll(text, word, "")
	return strings.IndexFunc(rest, unicode.IsLetter) < 0 && !manyDigits(rest)
}

// commonWords are what the commonest passwords are made of; written down by us, from no list. A password that is one of them, or several, with digits
// and marks around them, is common.
var commonWords = []string{"password", "passwort", "passw0rd", "p@ssword", "p@ssw0rd", "qwertyuiop", "qwerty", "qwertz", "azerty", "asdfghjkl", "asdf", "zxcvbnm", "yxcvbnm",
	"1q2w3e4r5t6y", "1q2w3e4r", "1qaz2wsx", "q1w2e3r4", "abcdef", "abcd", "abc", "letmein", "welcome", "iloveyou", "administrator", "admin", "login", "user", "guest", "secret",
	"changeme", "change", "default", "monkey", "dragon", "sunshine", "princess", "football", "baseball", "superman", "batman", "master", "trustno1", "whatever", "longlead",
	"kennel", "puppy", "puppies", "doggy", "dogs", "dog", "summer", "winter", "spring", "autumn", "manager", "trainer", "office", "test", "temp", "please", "hello", "my", "new", "the", "me", "in", "let"}

// isCommon finds passwords that are tried first: the same character or a run of them, a short piece over and over, a keyboard's rows, or nothing but
// common words, digits and marks.
func isCommon(low string) bool {
	if isSequence(low) || isRefrain(low) {
		return true
	}
	rest := low
	for _, word := range commonWords { // longer ones stand before those that they hold
		rest = strings.ReplaceAll(rest, word, "\x00")
	}
	return strings.IndexFunc(rest, unicode.IsLetter) < 0 && !manyDigits(rest)
}

// manyDigits reports whether what is left beside common words is a number that nobody would guess: ten digits and more that are no sequence.
func manyDigits(rest string) bool {
	digits := strings.Map(func(r rune) rune {
		if unicode.IsDigit(r) {
			return r
		}
		return -1
	}, rest)
	return len(digits) >= 10 && !isSequence(digits)
}

// isSequence reports whether each character follows the one before by the same step: aaaa, 1234, zyxw. Steps round the end count: 90123.
func isSequence(text string) bool {
	runes := []rune(text)
	for _, step := range []rune{-1, 0, 1} {
		ok := true
		for i := 1; i < len(runes) && ok; i++ {
			next := runes[i-1] + step
			switch {
			case runes[i-1] == '9' && step == 1:
				next = '0'
			case runes[i-1] == '0' && step == -1:
				next = '9'
			}
			ok = runes[i] == next
		}
		if ok {
			return true
		}
	}
	return false
}

// isRefrain reports whether a text is a piece of six characters or fewer, over and over.
func isRefrain(text string) bool {
	runes := []rune(text)
	for n := 1; n <= 6 && n < len(runes); n++ {
		again := true
		for i := n; i < len(runes) && again; i++ {
			again = runes[i] == runes[i-n]
		}
		if again {
			return true
		}
	}
	return false
}

// madeLetters are the characters of made passwords: none of them is taken for another when it is read aloud or copied from paper.
const madeLetters = "abcdefghjkmnpqrstuvwxyz23456789"

// MakePassword makes a password that nobody can guess, in four groups of four: 79 bits.
func MakePassword() string {
	var b strings.Builder
	for i := range 16 {
		if i > 0 && i%4 == 0 {
			b.WriteByte('-')
		}
		n, err := rand.Int(rand.Reader, big.NewInt(int64(len(madeLetters))))
		if err != nil {
			panic("people: the machine has no random numbers to give: " + err.Error()) // crypto/rand says that it does not happen
		}
		b.WriteByte(madeLetters[n.Int64()])
	}
	return b.String()
}
