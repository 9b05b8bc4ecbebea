//go:build unix

package localpg

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// elsewhere holds the clusters of root whose data folder the server's user cannot reach. A variable for tests.
var elsewhere = "/var/lib/longlead"

// account is the user that runs the server. A nil account is the user of this process.
type account struct {
	uid, gid uint32
	name     string
}

// folder is the "server" folder of a data folder, with every link followed.
type folder struct {
	root string
	acct *account
}

func (f folder) data() string      { return filepath.Join(f.root, "data") }
func (f folder) log() string       { return filepath.Join(f.root, "postgres.log") }
func (f folder) lockFile() string  { return filepath.Join(f.root, "lock") }
func (f folder) stateFile() string { return filepath.Join(f.root, "server.json") }
func (f folder) npm() string       { return filepath.Join(f.root, "npm") }

// openFolder makes the folder where it is absent and gives it to the account.
func openFolder(dataDir string) (folder, error) {
	if dataDir == "" {
		return folder{}, errors.New("no data folder was given for the database")
	}
	abs, err := filepath.Abs(dataDir)
	if err != nil {
		return folder{}, fmt.Errorf("find the data folder %s: %w", dataDir, err)
	}
	if err := os.MkdirAll(abs, 0o755); err != nil {
		return folder{}, fmt.Errorf("make the data folder: %w", err)
	}
	if abs, err = filepath.EvalSymlinks(abs); err != nil {
		return folder{}, fmt.Errorf("find the data folder %s: %w", dataDir, err)
	}
	server := filepath.Join(abs, "server")
	if _, err := os.Lstat(server); errors.Is(err, fs.ErrNotExist) {
		if err := makeServerFolder(abs, server); err != nil {
			return folder{}, err
		}
	}
	root, err := filepath.EvalSymlinks(server)
	if err != nil {
		return folder{}, fmt.Errorf("follow %s: %w. It points to where the database is kept: bring that folder back, or "+
			"remove the link to start with an empty database", server, err)
	}
	f := folder{root: root}
	return f, f.takeOwnership()
}

// makeServerFolder makes server in the data folder, or a link to a folder elsewhere when only root can reach it.
func makeServerFolder(dataDir, server string) error {
	if os.Geteuid() == 0 {
		acct, err := serverAccount()
		if err != nil {
			return err
		}
		if !acct.canEnter(dataDir) {
			sum := sha256.Sum256([]byte(dataDir))
			target := filepath.Join(elsewhere, hex.EncodeToString(sum[:6]))
			if err := os.MkdirAll(target, 0o755); err != nil {
				return fmt.Errorf("make a database folder that user %s can reach: %w", acct.name, err)
			}
			if err := os.Symlink(target, server); err != nil && !errors.Is(err, fs.ErrExist) {
				return fmt.Errorf("link to the database folder: %w", err)
			}
			return nil
		}
	}
	if err := os.MkdirAll(server, 0o700); err != nil {
		return fmt.Errorf("make the database folder: %w", err)
	}
	return nil
}

// takeOwnership decides which account runs the server and makes the folder its own. A cluster that exists belongs to
// whoever made it: Postgres refuses any other user.
func (f *folder) takeOwnership() error {
	owner, hasData := ownerOf(f.data())
	if self := os.Geteuid(); self != 0 {
		if hasData && int(owner.uid) != self {
			return fmt.Errorf("the database in %s belongs to user %s: run as that user, or choose another data folder", f.root, owner.name)
		}
		if err := syscall.Access(f.root, 7); err != nil {
			return fmt.Errorf("use the database folder %s: %w. It may belong to another user: choose another data folder", f.root, err)
		}
		return nil
	}
	if hasData && owner.uid != 0 {
		f.acct = owner
	} else {
		acct, err := serverAccount()
		if err != nil {
			return err
		}
		f.acct = acct
	}
	if !f.acct.canEnter(filepath.Dir(f.root)) {
		return fmt.Errorf("root runs the database as user %s, who cannot reach %s: choose another data folder", f.acct.name, f.root)
	}
	if err := os.Chown(f.root, int(f.acct.uid), int(f.acct.gid)); err != nil {
		return fmt.Errorf("give the database folder to user %s: %w", f.acct.name, err)
	}
	if err := os.Chmod(f.root, 0o700); err != nil {
		return fmt.Errorf("close the database folder to others: %w", err)
	}
	return nil
}

func ownerOf(path string) (*account, bool) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, false
	}
	sys, ok := st.Sys().(*syscall.Stat_t)
	if !ok {
		return nil, false
	}
	a := &account{uid: sys.Uid, gid: sys.Gid, name: strconv.Itoa(int(sys.Uid))}
	if u, err := user.LookupId(a.name); err == nil {
		a.name = u.Username
	}
	return a, true
}

// serverAccount is the user that runs the server for root.
func serverAccount() (*account, error) {
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.ParseUint(u.Uid, 10, 32)
		gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
		if err1 == nil && err2 == nil && uid != 0 {
			return &account{uid: uint32(uid), gid: uint32(gid), name: name}, nil
		}
	}
	return nil, errors.New("as root there is no user to run Postgres as: this system has neither a user postgres nor a user nobody; run as another user")
}

// canEnter reports whether the account may pass through dir and everything above it. It reads permission bits only.
func (a *account) canEnter(dir string) bool {
	if a == nil {
		return true
	}
	for {
		st, err := os.Stat(dir)
		if err != nil {
			return false
		}
		sys, ok := st.Sys().(*syscall.Stat_t)
		need := fs.FileMode(0o001)
		switch {
		case !ok:
			return false
		case sys.Uid == a.uid:
			need = 0o100
		case sys.Gid == a.gid:
			need = 0o010
		}
		if st.Mode()&need == 0 {
			return false
		}
		up := filepath.Dir(dir)
		if up == dir {
			return true
		}
		dir = up
	}
}

// give makes path belong to the account.
func (a *account) give(path string) error {
	if a == nil {
		return nil
	}
	if err := os.Lchown(path, int(a.uid), int(a.gid)); err != nil {
		return fmt.Errorf("give %s to user %s: %w", path, a.name, err)
	}
	return nil
}

// lock keeps other parents out until the returned file is closed, by this process or by its end. It waits for a second,
// since a parent that is just ending or a Join that is just looking holds the lock for a moment.
func (f folder) lock() (*os.File, error) {
	file, err := os.OpenFile(f.lockFile(), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open the lock of the database folder: %w", err)
	}
	for deadline := time.Now().Add(time.Second); ; time.Sleep(20 * time.Millisecond) {
		err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if err == nil {
			break
		}
		if time.Now().After(deadline) {
			_ = file.Close()
			if errors.Is(err, syscall.EWOULDBLOCK) {
				return nil, fmt.Errorf("%w: %s (process %s)", ErrInUse, f.root, f.lockHolder())
			}
			return nil, fmt.Errorf("lock the database folder: %w", err)
		}
	}
	_ = file.Truncate(0)
	_, _ = file.WriteAt([]byte(strconv.Itoa(os.Getpid())), 0) // for the message above only
	return file, nil
}

func (f folder) lockHolder() string {
	text, err := os.ReadFile(f.lockFile())
	if err != nil || len(text) == 0 {
		return "unknown"
	}
	return string(text)
}

// locked reports whether some process holds the lock.
func (f folder) locked() bool {
	file, err := os.Open(f.lockFile())
	if err != nil {
		return false
	}
	defer func() { _ = file.Close() }()
	return syscall.Flock(int(file.Fd()), syscall.LOCK_SH|syscall.LOCK_NB) != nil
}

// state is what Join has to know about a running server.
type state struct {
	PID       int    `json:"pid"`
	SocketDir string `json:"socket_dir"`
	Found     string `json:"found"`
}

func (f folder) readState() (state, bool) {
	var s state
	text, err := os.ReadFile(f.stateFile())
	if err != nil || json.Unmarshal(text, &s) != nil {
		return state{}, false
	}
	return s, true
}

func (f folder) writeState(s state) error {
	text, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("describe the server: %w", err)
	}
	if err := os.WriteFile(f.stateFile()+".new", text, 0o600); err != nil {
		return fmt.Errorf("describe the server: %w", err)
	}
	if err := os.Rename(f.stateFile()+".new", f.stateFile()); err != nil {
		return fmt.Errorf("describe the server: %w", err)
	}
	return nil
}

// dropState forgets a server that has ended, and removes its socket folder where that lies outside.
func (f folder) dropState() {
	if s, ok := f.readState(); ok && strings.HasPrefix(filepath.Base(s.SocketDir), socketPrefix) {
		_ = os.RemoveAll(s.SocketDir)
	}
	_ = os.Remove(f.stateFile())
}

// postmaster reads the file that a running server keeps in its cluster: its process ID and whether it takes
// connections.
func (f folder) postmaster() (pid int, ready bool) {
	text, err := os.ReadFile(filepath.Join(f.data(), "postmaster.pid"))
	if err != nil {
		return 0, false
	}
	lines := strings.Split(string(text), "\n")
	pid, err = strconv.Atoi(strings.TrimSpace(lines[0]))
	if err != nil {
		return 0, false
	}
	return pid, len(lines) > 7 && strings.TrimSpace(lines[7]) == "ready"
}
