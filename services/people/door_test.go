package people_test

import (
	"encoding/base64"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/people"

	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

func TestSignInAndOut(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	some, err := s.door.Anybody(t.Context())
	require.NoError(t, err)
	require.False(t, some)
	s.add(t, "jo.marsh", people.Manager)
	some, err = s.door.Anybody(t.Context())
	require.NoError(t, err)
	require.True(t, some)

	secret, p, err := s.door.SignIn(t.Context(), "  Jo.Marsh ", good, "192.0.2.7")
	require.NoError(t, err)
	require.Equal(t, "jo.marsh", p.Login)
	require.Equal(t, people.Manager, p.Role)
	require.False(t, p.MustChange)
	bits, err := base64.RawURLEncoding.DecodeString(secret)
	require.NoError(t, err)
	require.Len(t, bits, 32, "256 bits")
	require.Zero(t, s.count(t, `select count(*) from people.session where encode(secret_hash, 'hex') like '%' || encode($1, 'hex') || '%'`, bits), "the secret is not kept")
	who, err := s.door.Who(t.Context(), secret)
	require.NoError(t, err)
	require.Equal(t, p, who)

	for _, wrong := range []string{"", "x", secret[:len(secret)-1], secret + "A", strings.ToUpper(secret), "' or true --"} {
		_, err := s.door.Who(t.Context(), wrong)
		require.Equal(t, "SESSION_UNKNOWN", apperr.ReasonOf(err), wrong)
		require.Equal(t, apperr.Unauthenticated, apperr.KindOf(err))
	}
	other := s.signIn(t, "jo.marsh")
	require.NotEqual(t, secret, other)
	require.NoError(t, s.door.SignOut(t.Context(), secret))
	require.NoError(t, s.door.SignOut(t.Context(), secret), "twice is no error")
	_, err = s.door.Who(t.Context(), secret)
	require.Equal(t, "SESSION_UNKNOWN", apperr.ReasonOf(err))
	_, err = s.door.Who(t.Context(), other)
	require.NoError(t, err, "only one has ended")
}

func TestASessionEnds(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "jo", people.Viewer)
	idle := s.signIn(t, "jo")
	s.pass(people.SessionIdle - time.Second)
	_, err := s.door.Who(t.Context(), idle)
	require.NoError(t, err)
	s.pass(people.SessionIdle)
	_, err = s.door.Who(t.Context(), idle)
	require.Equal(t, "SESSION_OVER", apperr.ReasonOf(err), "nobody used it for twelve hours")
	_, err = s.door.Who(t.Context(), idle)
	require.Equal(t, "SESSION_OVER", apperr.ReasonOf(err), "asking does not revive it")

	busy := s.signIn(t, "jo")
	for range 59 { // every twelve hours less a minute, for close to thirty days
		s.pass(people.SessionIdle - time.Minute)
		_, err = s.door.Who(t.Context(), busy)
		require.NoError(t, err)
	}
	s.pass(people.SessionLife - 59*(people.SessionIdle-time.Minute))
	_, err = s.door.Who(t.Context(), busy)
	require.Equal(t, "SESSION_OVER", apperr.ReasonOf(err), "thirty days are the most")
}

// TestUseIsNotedSeldom: what a page costs stays one read, and one write in five minutes.
func TestUseIsNotedSeldom(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "jo", people.Viewer)
	secret := s.signIn(t, "jo")
	seen := func() (at time.Time) {
		require.NoError(t, s.pool.QueryRow(t.Context(), `select seen_at from people.session`).Scan(&at))
		return at
	}
	began := seen()
	s.pass(people.SeenEvery - time.Second)
	_, err := s.door.Who(t.Context(), secret)
	require.NoError(t, err)
	require.Equal(t, began, seen())
	s.pass(time.Second)
	_, err = s.door.Who(t.Context(), secret)
	require.NoError(t, err)
	require.Equal(t, began.Add(people.SeenEvery), seen())
}

func TestWhoIsShutOutIsOutAtOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "ann", people.Manager)
	s.add(t, "jo", people.Office)
	secret := s.signIn(t, "jo")
	_, err := s.server.DisablePerson(t.Context(), &peoplev1.DisablePersonRequest{Login: "jo"})
	require.NoError(t, err)
	_, err = s.door.Who(t.Context(), secret)
	require.Equal(t, apperr.Unauthenticated, apperr.KindOf(err))
	_, _, err = s.door.SignIn(t.Context(), "jo", good, "192.0.2.7")
	require.Equal(t, "SIGN_IN_WRONG", apperr.ReasonOf(err), "a right password tells nothing")
	_, err = s.server.EnablePerson(t.Context(), &peoplev1.EnablePersonRequest{Login: "jo"})
	require.NoError(t, err)
	_, err = s.door.Who(t.Context(), secret)
	require.Equal(t, apperr.Unauthenticated, apperr.KindOf(err), "the old sign-in stays ended")
	s.signIn(t, "jo")
	// Even one whose session was left in the table by somebody who wrote into it by hand.
	last := s.signIn(t, "jo")
	_, err = s.pool.Exec(t.Context(), `update people.person set disabled_at = now() where login = 'jo'`)
	require.NoError(t, err)
	_, err = s.door.Who(t.Context(), last)
	require.Equal(t, "SESSION_OVER", apperr.ReasonOf(err))
}

func TestARoleCountsFromTheNextStep(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "ann", people.Manager)
	s.add(t, "jo", people.Manager)
	secret := s.signIn(t, "jo")
	_, err := s.server.ChangePerson(t.Context(), &peoplev1.ChangePersonRequest{Login: "jo", Name: "Jo", Role: people.Viewer, SiteCode: "TARN"})
	require.NoError(t, err)
	p, err := s.door.Who(t.Context(), secret)
	require.NoError(t, err)
	require.Equal(t, people.Viewer, p.Role)
	require.Equal(t, "TARN", p.SiteCode)
}

func TestChangePassword(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	got, err := s.server.AddPerson(t.Context(), &peoplev1.AddPersonRequest{Login: "jo", Name: "Jo Marsh", Role: people.Office})
	require.NoError(t, err)
	made := got.GetMadePassword()
	require.Regexp(t, `^[a-z2-9]{4}(-[a-z2-9]{4}){3}$`, made)
	secret, p, err := s.door.SignIn(t.Context(), "jo", made, "192.0.2.7")
	require.NoError(t, err)
	require.True(t, p.MustChange, "somebody else knows it")
	other, _, err := s.door.SignIn(t.Context(), "jo", made, "192.0.2.8")
	require.NoError(t, err)

	for _, tc := range []struct{ name, old, fresh, reason string }{
		{"wrong", "not it, not it", good, "PASSWORD_WRONG"},
		{"too short", made, "eleven char", "PASSWORD_WEAK"},
		{"the same", made, made, "PASSWORD_WEAK"},
		{"common", made, "Password123456!", "PASSWORD_WEAK"},
	} {
		require.Equal(t, tc.reason, apperr.ReasonOf(s.door.ChangePassword(t.Context(), secret, tc.old, tc.fresh)), tc.name)
	}
	require.Equal(t, "SESSION_UNKNOWN", apperr.ReasonOf(s.door.ChangePassword(t.Context(), "x", made, good)))
	require.NoError(t, s.door.ChangePassword(t.Context(), secret, made, good))
	p, err = s.door.Who(t.Context(), secret)
	require.NoError(t, err, "this sign-in goes on")
	require.False(t, p.MustChange)
	_, err = s.door.Who(t.Context(), other)
	require.Equal(t, "SESSION_UNKNOWN", apperr.ReasonOf(err), "the other one has ended")
	_, _, err = s.door.SignIn(t.Context(), "jo", made, "192.0.2.7")
	require.Equal(t, "SIGN_IN_WRONG", apperr.ReasonOf(err))
	s.signIn(t, "jo")
	require.Equal(t, 1, s.count(t, `select count(*) from people.change where what = 'password changed' and by_name = 'jo'`))
}

// TestGuessesBecomeSlow: of a login as of an address, whether the login exists or not.
func TestGuessesBecomeSlow(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "jo", people.Office)
	for _, login := range []string{"jo", "nobody"} {
		from := "2001:db8::" + map[string]string{"jo": "1", "nobody": "2"}[login]
		for i := range 5 {
			_, _, err := s.door.SignIn(t.Context(), login, "wrong, all wrong", from)
			require.Equal(t, "SIGN_IN_WRONG", apperr.ReasonOf(err), "%s %d", login, i)
		}
		_, _, err := s.door.SignIn(t.Context(), login, good, "192.0.2.200")
		require.Equal(t, "SIGN_IN_HELD", apperr.ReasonOf(err), "from elsewhere too")
		require.ErrorContains(t, err, "Try again in 3 seconds")
	}
	s.pass(2 * time.Second)
	s.signIn(t, "jo")
	_, _, err := s.door.SignIn(t.Context(), "jo", "wrong, all wrong", "192.0.2.9")
	require.Equal(t, "SIGN_IN_WRONG", apperr.ReasonOf(err))
	s.signIn(t, "jo") // who gets in is forgiven

	// Nobody is locked out for good: whoever waits a quarter of an hour is looked at.
	for range 20 {
		s.pass(15 * time.Minute)
		_, _, err := s.door.SignIn(t.Context(), "jo", "wrong, all wrong", "192.0.2.9")
		require.Equal(t, "SIGN_IN_WRONG", apperr.ReasonOf(err))
	}
	_, _, err = s.door.SignIn(t.Context(), "jo", good, "192.0.2.7")
	require.ErrorContains(t, err, "Try again in 15 minutes")
	s.pass(15 * time.Minute)
	s.signIn(t, "jo")
}

// TestAnAddressGuessesManyLogins: one password tried on many logins is slowed down as well, and a neighbour of the same household counts with it.
func TestAnAddressGuessesManyLogins(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "jo", people.Office)
	for i := range 20 {
		_, _, err := s.door.SignIn(t.Context(), "guess"+string(rune('a'+i)), good, "2001:db8:1:1::1")
		require.Equal(t, "SIGN_IN_WRONG", apperr.ReasonOf(err))
		if i == 10 { // a login of one's own does not wipe the slate
			_, _, err := s.door.SignIn(t.Context(), "jo", good, "2001:db8:1:1::1")
			require.NoError(t, err)
		}
	}
	_, _, err := s.door.SignIn(t.Context(), "jo", good, "2001:db8:1:1::2")
	require.Equal(t, "SIGN_IN_HELD", apperr.ReasonOf(err))
	_, _, err = s.door.SignIn(t.Context(), "jo", good, "2001:db8:1:2::1")
	require.NoError(t, err)
	s.pass(25 * time.Hour)
	s.signIn(t, "jo")
	require.LessOrEqual(t, s.count(t, `select count(*) from people.attempt`), 2, "old counts are dropped")
}

// TestManyGuessesAtOnce: a hundred that come at the same moment are counted one by one.
func TestManyGuessesAtOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "jo", people.Office)
	var (
		wg     sync.WaitGroup
		mu     sync.Mutex
		counts = map[string]int{}
	)
	for range 40 {
		wg.Go(func() {
			_, _, err := s.door.SignIn(t.Context(), "jo", "wrong, all wrong", "192.0.2.7")
			mu.Lock()
			defer mu.Unlock()
			counts[apperr.ReasonOf(err)]++
		})
	}
	wg.Wait()
	require.Equal(t, map[string]int{"SIGN_IN_WRONG": 5, "SIGN_IN_HELD": 35}, counts)
}

func TestHostileLogins(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.add(t, "jo", people.Office)
	for _, login := range []string{"", "' or 1=1 --", "jo\x00", "\xff\xfe", strings.Repeat("a", 100_000), "<script>", "jo\n", "ＪＯ", "j" + "о"} {
		secret, _, err := s.door.SignIn(t.Context(), login, good, login)
		if strings.TrimSpace(strings.ToLower(login)) == "jo" {
			require.NoError(t, err)
			continue
		}
		require.Equal(t, "SIGN_IN_WRONG", apperr.ReasonOf(err), "%q", login)
		require.Empty(t, secret)
	}
	for _, password := range []string{"", "\x00", "\xff\xfe", strings.Repeat("a", 1_000_000)} {
		_, _, err := s.door.SignIn(t.Context(), "jo", password, "192.0.2.7")
		require.Equal(t, "SIGN_IN_WRONG", apperr.ReasonOf(err))
	}
}
