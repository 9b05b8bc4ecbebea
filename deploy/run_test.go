package deploy_test

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgrestest"
)

// argsOf returns the command line of a unit with the folder of its credentials filled in, and ports that are free.
func argsOf(t *testing.T, unit, credentials string) []string {
	t.Helper()
	for _, line := range commandLines(t) {
		if line.file != unit {
			continue
		}
		var args []string
		for _, arg := range line.args {
			args = append(args, regexp.MustCompile(`127\.0\.0\.1:761[01]`).ReplaceAllString(strings.ReplaceAll(arg, "%d", credentials), "127.0.0.1:0"))
		}
		return args
	}
	require.Failf(t, "no command line", "%s", unit)
	return nil
}

// TestTheUnitsRun does what README.md says of systemd, with the very command lines of the units: the two files, migrate, serve,
// a call with the token, stop.
func TestTheUnitsRun(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("systemd is not for this system")
	}
	const token = "0123456789abcdef0123456789abcdef"
	dir := t.TempDir()
	hash := sha256.Sum256([]byte(token))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "database-url"), []byte(postgrestest.URL(postgrestest.Empty(t))+"\n"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "tokens"), []byte("# who\nkim      viewer    "+hex.EncodeToString(hash[:])+"\n"), 0o600))

	start := func(unit string) *exec.Cmd {
		cmd := exec.CommandContext(t.Context(), longlead(t), argsOf(t, unit, dir)...)
		cmd.Env = append(os.Environ(), "LONGLEAD_DATA="+filepath.Join(dir, "state"))
		return cmd
	}
	early, err := start("systemd/longlead.service").CombinedOutput()
	require.Error(t, err, "a server refuses a schema that is not its own")
	require.Contains(t, string(early), "longlead migrate")
	for range 2 { // the unit runs before each start, so again must be harmless
		out, err := start("systemd/longlead-migrate.service").CombinedOutput()
		require.NoError(t, err, string(out))
	}

	server := start("systemd/longlead.service")
	server.Stderr = os.Stderr
	out, err := server.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, server.Start())
	lines, address := bufio.NewReader(out), ""
	for address == "" { // until it says where it serves; where letters go comes before that
		line, err := lines.ReadString('\n')
		require.NoError(t, err)
		address = regexp.MustCompile(`http://\S+:\d+`).FindString(line)
	}
	go func() { _, _ = io.Copy(io.Discard, lines) }()

	for _, tc := range []struct {
		path, token string
		code        int
	}{{"/healthz", "", 200}, {"/v1/sites", "", 401}, {"/v1/sites", "guess", 401}, {"/v1/sites", token, 200}} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, address+tc.path, nil)
		require.NoError(t, err)
		if tc.token != "" {
			req.Header.Set("Authorization", "Bearer "+tc.token)
		}
		res, err := http.DefaultClient.Do(req)
		require.NoError(t, err)
		require.NoError(t, res.Body.Close())
		require.Equal(t, tc.code, res.StatusCode, tc.path)
	}
	began := time.Now()
	require.NoError(t, server.Process.Signal(syscall.SIGTERM))
	require.NoError(t, server.Wait(), "a server that is told to stop ends well")
	require.Less(t, time.Since(began), 45*time.Second, "within the time that the units allow")
}
