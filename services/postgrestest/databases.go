package postgrestest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash/fnv"
	"io/fs"
	"math/rand/v2"
	"net/url"
	"os"
	"regexp"
	"strconv"
	"sync"
	"time"

	"github.com/longlead/longlead/services/localpg"
	"github.com/longlead/longlead/services/postgres"
)

// server is the Postgres that this test binary uses.
type server struct {
	url   func(dbname string) string
	admin *postgres.Pool // on the maintenance database
	local bool           // private to this machine, so that process IDs in names mean something

	mu        sync.Mutex
	templates map[string]bool // templates known to be complete
}

// theServer connects once per test binary.
var theServer = sync.OnceValues(func() (*server, error) {
	ctx := context.Background()
	s := &server{templates: map[string]bool{}}
	if given := os.Getenv(EnvURL); given != "" {
		u, err := url.Parse(given)
		if err != nil || u.Scheme != "postgres" && u.Scheme != "postgresql" {
			return nil, fmt.Errorf("%s has to be a URL like postgres://user@host/postgres", EnvURL)
		}
		s.url = func(dbname string) string { c := *u; c.Path = "/" + dbname; return c.String() }
	} else {
		pg, err := sharedServer(ctx, os.Getenv(localpg.EnvSource))
		if err != nil {
			return nil, err
		}
		s.url, s.local = pg.URL, true
	}
	var err error
	// Creating a database may wait for a checkpoint of another one, so statements have no limit here.
	s.admin, err = postgres.Open(ctx, s.url("postgres"), postgres.Options{AppName: "postgrestest", MaxConns: 4, StatementTimeout: -1})
	if err != nil {
		return nil, err
	}
	return s, s.prune(ctx)
})

func (s *server) open(ctx context.Context, name string, maxConns int) (*postgres.Pool, error) {
	return postgres.Open(ctx, s.url(name), postgres.Options{AppName: "test", MaxConns: maxConns})
}

// newName makes a database name that tells whose it is and when it was made.
func newName() string {
	return fmt.Sprintf("t_%d_%d_%06x", os.Getpid(), time.Now().Unix(), rand.N(1<<24))
}

func (s *server) createEmpty(ctx context.Context) (string, error) {
	name := newName()
	if _, err := s.admin.Exec(ctx, `create database `+name+` template template0 encoding 'UTF8'`); err != nil {
		return "", fmt.Errorf("create an empty database: %w", err)
	}
	return name, nil
}

// cloneTemplate makes a database with the migrations of fsys by copying a template.
func (s *server) cloneTemplate(ctx context.Context, fsys fs.FS) (string, error) {
	tpl, err := templateName(fsys)
	if err != nil {
		return "", err
	}
	if err := s.ensureTemplate(ctx, tpl, fsys); err != nil {
		return "", err
	}
	name := newName()
	if _, err := s.admin.Exec(ctx, `create database `+name+` template `+tpl); err != nil {
		return "", fmt.Errorf("copy the migrated database: %w", err)
	}
	return name, nil
}

// templateName carries a digest of all migrations, so that an edit makes a new template.
func templateName(fsys fs.FS) (string, error) {
	own, river, err := postgres.Versions(fsys)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	_, _ = fmt.Fprintln(h, own, river)
	names, err := fs.Glob(fsys, "*.sql")
	if err != nil {
		return "", fmt.Errorf("list the migrations: %w", err)
	}
	for _, name := range names {
		text, err := fs.ReadFile(fsys, name)
		if err != nil {
			return "", fmt.Errorf("read migration %s: %w", name, err)
		}
		_, _ = fmt.Fprintf(h, "%s %d\n%s", name, len(text), text)
	}
	return "tpl_" + hex.EncodeToString(h.Sum(nil)[:8]), nil
}

// ensureTemplate builds the template unless it is there. One test binary builds, the others wait.
func (s *server) ensureTemplate(ctx context.Context, tpl string, fsys fs.FS) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.templates[tpl] {
		return nil
	}
	err := s.withLock(ctx, tpl, func() error { return s.buildTemplate(ctx, tpl, fsys) })
	if err == nil {
		s.templates[tpl] = true
	}
	return err
}

func (s *server) buildTemplate(ctx context.Context, tpl string, fsys fs.FS) error {
	var exists, complete bool
	err := s.admin.QueryRow(ctx, `select count(*) > 0, coalesce(bool_or(datistemplate), false) from pg_database where datname = $1`, tpl).
		Scan(&exists, &complete)
	if err != nil {
		return fmt.Errorf("look for the migrated database: %w", err)
	}
	if complete {
		return nil
	}
	if exists { // a test binary was killed while it built
		if err := s.drop(ctx, tpl); err != nil {
			return err
		}
	}
	if _, err := s.admin.Exec(ctx, `create database `+tpl+` template template0 encoding 'UTF8'`); err != nil {
		return fmt.Errorf("create the database to migrate: %w", err)
	}
	pool, err := s.open(ctx, tpl, 2)
	if err != nil {
		return err
	}
	_, err = postgres.Migrate(ctx, pool, fsys)
	pool.Close()
	if err != nil {
		return err
	}
	note := fmt.Sprintf(`comment on database %s is '%d'`, tpl, time.Now().Unix())
	for _, sql := range []string{note, `alter database ` + tpl + ` is_template true allow_connections false`} {
		if _, err := s.admin.Exec(ctx, sql); err != nil {
			return fmt.Errorf("close the migrated database: %w", err)
		}
	}
	return nil
}

// withLock runs fn while no other test binary on the server runs one under the same name.
func (s *server) withLock(ctx context.Context, name string, fn func() error) error {
	conn, err := s.admin.Acquire(ctx)
	if err != nil {
		return fmt.Errorf("reach the test server: %w", err)
	}
	defer conn.Release()
	h := fnv.New64a()
	_, _ = h.Write([]byte("longlead postgrestest " + name))
	key := int64(h.Sum64())
	if _, err := conn.Exec(ctx, `select pg_advisory_lock($1)`, key); err != nil {
		return fmt.Errorf("wait for other tests: %w", err)
	}
	defer func() { _, _ = conn.Exec(context.WithoutCancel(ctx), `select pg_advisory_unlock($1)`, key) }()
	return fn()
}

func (s *server) drop(ctx context.Context, name string) error {
	if _, err := s.admin.Exec(ctx, `drop database if exists `+name+` with (force)`); err != nil {
		return fmt.Errorf("drop database %s: %w", name, err)
	}
	return nil
}

const (
	testDatabaseLife = 24 * time.Hour     // on a server where process IDs mean nothing
	templateLife     = 3 * 24 * time.Hour // after it was built
)

var testName = regexp.MustCompile(`^t_(\d+)_(\d+)_[0-9a-f]+$`)

// prune drops what tests that were killed, and migrations that are no more, left on the server.
func (s *server) prune(ctx context.Context) error {
	rows, err := s.admin.Query(ctx, `select datname, coalesce(shobj_description(oid, 'pg_database'), '') from pg_database
		where datname like 't\_%' or datname like 'tpl\_%'`)
	if err != nil {
		return fmt.Errorf("list test databases: %w", err)
	}
	defer rows.Close()
	var stale []string
	for rows.Next() {
		var name, note string
		if err := rows.Scan(&name, &note); err != nil {
			return fmt.Errorf("list test databases: %w", err)
		}
		if s.isStale(name, note, time.Now()) {
			stale = append(stale, name)
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("list test databases: %w", err)
	}
	for _, name := range stale {
		// Another test binary may drop it at the same moment, or copy it just now: then it is not ours to remove.
		if testName.MatchString(name) {
			_ = s.drop(ctx, name)
		} else if _, err := s.admin.Exec(ctx, `alter database `+name+` is_template false`); err == nil {
			_, _ = s.admin.Exec(ctx, `drop database if exists `+name)
		}
	}
	return nil
}

// isStale decides from a database's name and comment whether nobody needs it any more.
func (s *server) isStale(name, note string, now time.Time) bool {
	if m := testName.FindStringSubmatch(name); m != nil {
		pid, _ := strconv.Atoi(m[1])
		made, _ := strconv.ParseInt(m[2], 10, 64)
		return s.local && !alive(pid) || now.Sub(time.Unix(made, 0)) > testDatabaseLife
	}
	made, err := strconv.ParseInt(note, 10, 64)
	return err == nil && templatePattern.MatchString(name) && now.Sub(time.Unix(made, 0)) > templateLife
}

var templatePattern = regexp.MustCompile(`^tpl_[0-9a-f]{16}$`)
