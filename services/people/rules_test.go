package people

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alexedwards/argon2id"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/postgrestest"
)

// TestHashesAreStrongEnough reads the parameters out of a hash, as anybody who has one would.
func TestHashesAreStrongEnough(t *testing.T) {
	t.Parallel()
	hashed, err := argon2id.CreateHash("ponds under seven lanterns", &strong)
	require.NoError(t, err)
	params, salt, key, err := argon2id.DecodeHash(hashed)
	require.NoError(t, err)
	const source = "OWASP Password Storage Cheat Sheet, argon2id: at least 19 MiB, 2 iterations, 1 degree of parallelism (from memory)"
	outside.Check(t, "memory of a password hash is at least 19 MiB", source, true, params.Memory >= 19*1024)
	outside.Check(t, "iterations of a password hash are at least 2", source, true, params.Iterations >= 2)
	outside.Check(t, "parallelism of a password hash is at least 1", source, true, params.Parallelism >= 1)
	outside.Check(t, "salt of a password hash has at least 32 bits", "NIST SP 800-63B, 5.1.1.2: salt of at least 32 bits (from memory)", true, len(salt)*8 >= 32)
	require.Len(t, key, 32)
	outside.Check(t, "form of a password hash", "the encoded form of the argon2 reference implementation: $argon2id$v=19$m=…,t=…,p=…$salt$hash (from memory)", true,
		strings.HasPrefix(hashed, "$argon2id$v=19$m="))
}

func TestPasswordRule(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		password string
		fault    string
	}{
		{"ponds under seven lanterns", ""},
		{"fourteen chars", "at least 15"},
		{"fifteen letters", ""},
		{strings.Repeat("seven ponds ", 21) + "abcd", ""},
		{strings.Repeat("seven ponds ", 21) + "abcde", "at most 256"},
		{strings.Repeat("p0nd; ", 40), "everybody tries"},
		{"correct horse ox", ""},
		{"犬と歩く朝の海辺の道は静かで長い", ""},
		{"日日日日日日日日日日日日日日日", "everybody tries"},
		{"aaaaaaaaaaaaaaa", "everybody tries"},
		{"123456789012345", "everybody tries"},
		{"abcdefghijklmno", "everybody tries"},
		{"543210987654321", "everybody tries"},
		{"abcabcabcabcabc", "everybody tries"},
		{"x7x7x7x7x7x7x7x7", "everybody tries"},
		{"Password1234567", "everybody tries"},
		{"password123456!", "everybody tries"},
		{"Pass word 2027!", "everybody tries"},
		{"qwertyuiop[]123", "everybody tries"},
		{"letmeinletmein1", "everybody tries"},
		{"Welcome20272027", "everybody tries"},
		{"administrator12", "everybody tries"},
		{"longleadlonglead", "everybody tries"},
		{"!@#$%^&*()_+!@#", "everybody tries"},
		{"               ", "everybody tries"},
		{"849302847561730", ""},
		{"jo.marsh.field!", "login or the name"},
		{"JO.MARSH.FIELDjo.marsh.field", "login or the name"},
		{"Joanna Marshfield", "login or the name"},
		{"joannamarshfield", "login or the name"},
		{"joannamarshfield rows", ""},
		{"with\na new line", "one line"},
		{"with a \x00 zero", "one line"},
		{"with bad \xff bytes", "one line"},
	} {
		fault := passwordFault(tc.password, "jo.marsh.field", "Joanna Marshfield")
		if tc.fault == "" {
			require.Empty(t, fault, "%q", tc.password)
		} else {
			require.Contains(t, fault, tc.fault, "%q", tc.password)
		}
	}
	const source = "NIST SP 800-63B-4: at least 15 characters where a password is all, at least 64 permitted, no composition rules (from memory)"
	outside.Check(t, "the least length of a password is at least NIST's", source, true, LeastPassword >= 15)
	outside.Check(t, "the most length of a password is at least NIST's", source, true, MostPassword >= 64)
	outside.Check(t, "a long password of lower-case letters alone is taken", source, "", passwordFault("ponds under seven lanterns", "jo", "Jo"))
}

func TestOneSpellingOfAPassword(t *testing.T) {
	t.Parallel()
	h := newHasher()
	hashed, err := h.hash(t.Context(), "caf\u00e9 at the seven ponds")
	require.NoError(t, err)
	ok, err := h.matches(t.Context(), "cafe\u0301 at the seven ponds", hashed)
	require.NoError(t, err)
	require.True(t, ok, "some keyboards send the letter and its accent apart")
	ok, err = h.matches(t.Context(), "cafe at the seven ponds", hashed)
	require.NoError(t, err)
	require.False(t, ok)
}

func TestMadePasswordsPass(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for range 200 {
		made := MakePassword()
		require.Empty(t, passwordFault(made, "jo", "Jo"))
		require.False(t, seen[made])
		seen[made] = true
	}
}

// TestSessionRules: whatever is done with a session, it ends when the rules say, and never lives longer for being asked.
func TestSessionRules(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		now := time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)
		s := openSession(now)
		made, lastUse, noted := now, now, now
		for range rapid.IntRange(0, 80).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.Int64Range(0, int64(14*time.Hour)).Draw(t, "pause")))
			over := s.over(now)
			// By the definition: no use for twelve hours, with use known to five minutes, or thirty days.
			if now.Sub(lastUse) >= SessionIdle || now.Sub(made) >= SessionLife {
				require.True(t, over)
			}
			if now.Sub(lastUse) < SessionIdle-SeenEvery && now.Sub(made) < SessionLife {
				require.False(t, over)
			}
			before := s
			s = s.use(now)
			if over {
				require.Equal(t, before, s, "asking does not revive it")
				require.True(t, s.over(now.Add(time.Hour)))
				return
			}
			lastUse = now
			if s != before {
				require.GreaterOrEqual(t, now.Sub(noted), SeenEvery, "written at most once in five minutes")
				noted = now
			}
			require.False(t, s.expires.After(made.Add(SessionLife)))
			require.False(t, s.expires.Before(before.expires), "use never shortens it")
		}
	})
}

// TestTheStatementKeepsTheSameRules runs the same steps by findSession and by the rules in Go.
func TestTheStatementKeepsTheSameRules(t *testing.T) {
	t.Parallel()
	db := postgrestest.Database(t)
	mint := ids.NewMint()
	id := ids.PersonID(mint())
	start := time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)
	_, err := db.Exec(t.Context(), `insert into people.person values ($1, 'jo', 'Jo', 'viewer', '', '', '$argon2id$x', false, $2)`, id, start)
	require.NoError(t, err)
	rapid.Check(t, func(rt *rapid.T) {
		hash, now := hashSecret(newSecret()), start
		want := openSession(now)
		tx, err := db.Begin(context.Background())
		require.NoError(rt, err)
		defer func() { _ = tx.Rollback(context.Background()) }()
		require.NoError(rt, insertSession(t.Context(), tx, hash, id, want))
		for range rapid.IntRange(1, 12).Draw(rt, "steps") {
			now = now.Add(rapid.SampledFrom([]time.Duration{0, time.Minute, SeenEvery - time.Microsecond, SeenEvery, time.Hour, SessionIdle - time.Microsecond, SessionIdle, 10 * 24 * time.Hour}).Draw(rt, "pause"))
			got, err := findSession(t.Context(), tx, hash, now)
			require.NoError(rt, err)
			require.Equal(rt, want, got.session(), "as it was before")
			want = want.use(now)
		}
	})
}

func TestWaits(t *testing.T) {
	t.Parallel()
	require.Zero(t, wait(4, freeForLogin))
	require.Equal(t, 2*time.Second, wait(5, freeForLogin))
	require.Equal(t, 4*time.Second, wait(6, freeForLogin))
	require.Equal(t, longestWait, wait(1_000_000, freeForLogin))
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 500).Draw(t, "failures")
		require.LessOrEqual(t, wait(n, freeForLogin), wait(n+1, freeForLogin))
		require.LessOrEqual(t, wait(n, freeForLogin), longestWait)
		require.LessOrEqual(t, wait(n, freeForSource), wait(n, freeForLogin), "many people may share an address")
	})
	// As fast as the waits allow, how many failures in a row fit into a day?
	a, now := attempts{}, time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)
	tries := 0
	for end := now.Add(24 * time.Hour); now.Before(end); tries++ {
		a = a.fail(now, freeForLogin)
		now = slices.MaxFunc([]time.Time{now.Add(time.Second), a.next}, time.Time.Compare)
	}
	outside.Check(t, "guesses of one login in a day are about NIST's hundred", "NIST SP 800-63B, 5.2.2: no more than 100 consecutive failed attempts on one account (from memory); ours slows down instead of locking", true, tries <= 115)
	t.Logf("%d guesses of one login in a day", tries)
}

func TestNetworks(t *testing.T) {
	t.Parallel()
	for from, want := range map[string]string{
		"192.0.2.7": "192.0.2.7", "192.0.2.7:5000": "192.0.2.7", "::ffff:192.0.2.7": "192.0.2.7", "2001:db8:1:2:3:4:5:6": "2001:db8:1:2::/64",
		"[2001:db8:1:2::9]:443": "2001:db8:1:2::/64", "fe80::1%eth0": "fe80::/64", "": "", "unix": "unix",
	} {
		require.Equal(t, want, network(from), from)
	}
}

// TestTimeTellsNothing looks at the work instead of timing it, which a busy machine would blur: a login that does not exist, one that is shut out and
// a wrong password each wait for a hash with the parameters in use.
func TestTimeTellsNothing(t *testing.T) {
	t.Parallel()
	db := postgrestest.Database(t)
	d := NewDoor(DoorDeps{Pool: db, Mint: ids.NewMint(), Now: time.Now, Log: slog.New(slog.DiscardHandler)})
	real, err := theHasher.hash(t.Context(), "ponds under seven lanterns")
	require.NoError(t, err)
	for _, login := range []string{"jo", "out"} {
		_, err = db.Exec(t.Context(), `insert into people.person values ($1, $2, 'Jo', 'viewer', '', '', $3, false, now(), case when $2 = 'out' then now() end)`, ids.PersonID(ids.NewMint()()), login, real)
		require.NoError(t, err)
	}
	nobody, err := d.nobody()
	require.NoError(t, err)
	ours, _, _, err := argon2id.DecodeHash(nobody)
	require.NoError(t, err)
	theirs, _, _, err := argon2id.DecodeHash(real)
	require.NoError(t, err)
	require.Equal(t, theirs, ours, "nobody's hash takes the time that theirs take")

	for _, login := range []string{"jo", "out", "nobody", "no login at all"} {
		d.hasher = make(hasher, 1)
		d.hasher <- struct{}{} // taken: whoever does the work has to wait
		done := make(chan error, 1)
		go func() {
			_, _, err := d.SignIn(context.Background(), login, "wrong, all wrong", "192.0.2.7")
			done <- err
		}()
		select {
		case err := <-done:
			t.Fatalf("%s was answered without the work: %v", login, err)
		case <-time.After(150 * time.Millisecond):
		}
		<-d.hasher
		require.Equal(t, notRight(), <-done, login)
	}
}

// TestHashesAtOnce: no more than a few, and who waits can give up.
func TestHashesAtOnce(t *testing.T) {
	t.Parallel()
	h := make(hasher, 1)
	h <- struct{}{}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	_, err := h.hash(ctx, "ponds under seven lanterns")
	require.ErrorIs(t, err, context.DeadlineExceeded)
	<-h
	_, err = h.hash(t.Context(), "ponds under seven lanterns")
	require.NoError(t, err)
	require.Equal(t, hashesAtOnce, cap(theHasher))
}
