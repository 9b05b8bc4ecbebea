//go:build unix

package postgrestest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/localpg"
)

func newHome(t *testing.T) home {
	t.Helper()
	tmp, err := os.MkdirTemp("", "postgrestest-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(tmp) })
	require.NoError(t, os.Chmod(tmp, 0o755))
	h, err := openHome(tmp, "")
	require.NoError(t, err)
	return h
}

func stopped(h home) func() bool {
	return func() bool {
		_, err := localpg.Join(context.Background(), string(h))
		return err != nil
	}
}

func TestTheServerEndsAfterItsLastUser(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	pace := keeperPace{pause: 1, rounds: 2}
	s, err := h.join(t.Context(), os.Getenv(localpg.EnvSource), pace)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(h.users(), "99999999"), nil, 0o644)) // a user that is no more
	require.Never(t, stopped(h), 4*time.Second, 500*time.Millisecond, "this process still uses it")
	require.NoFileExists(t, filepath.Join(h.users(), "99999999"))

	again, err := h.join(t.Context(), os.Getenv(localpg.EnvSource), pace)
	require.NoError(t, err)
	require.Equal(t, s.PID(), again.PID())

	require.NoError(t, os.Remove(filepath.Join(h.users(), strconv.Itoa(os.Getpid()))))
	require.Eventually(t, stopped(h), 20*time.Second, 100*time.Millisecond)
	require.Eventually(t, func() bool { _, err := os.Stat(h.closing()); return err != nil }, 20*time.Second, 50*time.Millisecond)

	third, err := h.join(t.Context(), os.Getenv(localpg.EnvSource), pace)
	require.NoError(t, err)
	require.NotEqual(t, s.PID(), third.PID())
	require.NoError(t, third.Stop(), "this process started it")
}

func TestAnUncleanServerIsMadeAnew(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	pace := keeperPace{pause: 1, rounds: 1}
	source := os.Getenv(localpg.EnvSource)
	s, err := h.join(t.Context(), source, pace)
	require.NoError(t, err)
	require.NoError(t, s.EnsureDatabase(t.Context(), "old"))
	require.NoError(t, syscall.Kill(s.PID(), syscall.SIGKILL))
	<-s.Done()

	s, err = h.join(t.Context(), source, pace)
	require.NoError(t, err)
	mark := filepath.Join(string(h), "server", "data", "PG_VERSION")
	require.NoError(t, s.Stop())
	require.NoError(t, os.WriteFile(mark, []byte("9\n"), 0o600)) // a cluster of a Postgres that is gone
	s, err = h.join(t.Context(), source, pace)
	require.NoError(t, err)
	require.NoError(t, s.Stop())
}

func TestAJoinWaitsForAServerThatIsClosing(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	require.NoError(t, os.WriteFile(h.closing(), nil, 0o644))
	began := time.Now()
	time.AfterFunc(300*time.Millisecond, func() { _ = os.Remove(h.closing()) })
	h.awaitClosing()
	require.GreaterOrEqual(t, time.Since(began), 250*time.Millisecond)
}

func TestTheFolderOfAnotherUserIsRefused(t *testing.T) {
	t.Parallel()
	tmp := t.TempDir()
	name := filepath.Join(tmp, fmt.Sprintf("longlead-test-%d-npm", os.Geteuid()))
	require.NoError(t, os.Symlink(t.TempDir(), name))
	_, err := openHome(tmp, "npm")
	require.ErrorContains(t, err, "is not a folder of this user")
}

func TestIsStale(t *testing.T) {
	t.Parallel()
	now := time.Unix(2_000_000_000, 0)
	fresh, old := now.Add(-time.Hour).Unix(), now.Add(-30*24*time.Hour).Unix()
	self := os.Getpid()
	for _, tc := range []struct {
		name, note string
		local      bool
		want       bool
	}{
		{fmt.Sprintf("t_%d_%d_00ff00", self, fresh), "", true, false},
		{fmt.Sprintf("t_%d_%d_00ff00", self, old), "", true, true},
		{fmt.Sprintf("t_99999999_%d_00ff00", fresh), "", true, true},
		{fmt.Sprintf("t_99999999_%d_00ff00", fresh), "", false, false},
		{fmt.Sprintf("t_99999999_%d_00ff00", old), "", false, true},
		{"t_somebody_elses", "", true, false},
		{"tpl_0123456789abcdef", fmt.Sprint(fresh), true, false},
		{"tpl_0123456789abcdef", fmt.Sprint(old), true, true},
		{"tpl_0123456789abcdef", "", true, false},
		{"tpl_other", fmt.Sprint(old), true, false},
	} {
		require.Equal(t, tc.want, (&server{local: tc.local}).isStale(tc.name, tc.note, now), "%+v", tc)
	}
}

func TestTemplateNameFollowsTheMigrations(t *testing.T) {
	t.Parallel()
	name := func(fsys fstest.MapFS) string {
		t.Helper()
		n, err := templateName(fsys)
		require.NoError(t, err)
		require.Regexp(t, templatePattern, n)
		return n
	}
	one := fstest.MapFS{"0001_a.sql": {Data: []byte("x")}}
	require.Equal(t, name(one), name(fstest.MapFS{"0001_a.sql": {Data: []byte("x")}}))
	seen := map[string]bool{name(one): true}
	for _, other := range []fstest.MapFS{
		{}, {"0001_a.sql": {Data: []byte("y")}}, {"0001_b.sql": {Data: []byte("x")}},
		{"0001_a.sql": {Data: []byte("x")}, "0002_b.sql": {Data: []byte("x")}},
	} {
		n := name(other)
		require.False(t, seen[n], "%v", other)
		seen[n] = true
	}
}
