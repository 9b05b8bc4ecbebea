package rpc

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"

	"google.golang.org/grpc/metadata"

	"github.com/longlead/longlead/services/apperr"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
)

// Tokens knows the callers by the SHA-256 of their tokens; the tokens themselves are nowhere kept. The zero value knows
// nobody. It may be used and added to from many goroutines.
type Tokens struct {
	mu      sync.RWMutex
	entries []tokenEntry
	// inside is what parts of this process show for people who have signed in there; made when it is first needed, and told to nobody.
	inside string
}

type tokenEntry struct {
	hash   [sha256.Size]byte
	caller Caller
}

// Load adds the callers of a token file: one line for each with name, role and the SHA-256 of the token in hex, separated by
// spaces. Lines that begin with # are comments. Every fault names its line; then no caller is added. A file without any
// caller is a fault as well.
func (t *Tokens) Load(path string) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("read the token file: %w", err)
	}
	var (
		read   []tokenEntry
		lines  = map[[sha256.Size]byte]int{}
		faults []error
	)
	for i, line := range strings.Split(string(text), "\n") {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		entry, err := parseLine(line)
		if first, seen := lines[entry.hash]; err == nil && seen {
			err = fmt.Errorf("has the same token as line %d: give each caller a token of its own", first)
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("%s line %d: %w", path, i+1, err))
			continue
		}
		lines[entry.hash] = i + 1
		read = append(read, entry)
	}
	if len(faults) == 0 && len(read) == 0 {
		faults = append(faults, fmt.Errorf("%s names no caller: write a line with name, role and the SHA-256 of the token in hex", path))
	}
	if len(faults) > 0 {
		return errors.Join(faults...)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.entries = append(t.entries, read...)
	return nil
}

func parseLine(line string) (tokenEntry, error) {
	fields := strings.Fields(line)
	if len(fields) != 3 {
		return tokenEntry{}, fmt.Errorf("has %d fields: write name, role and the SHA-256 of the token in hex", len(fields))
	}
	hash, err := hex.DecodeString(fields[2])
	if err != nil || len(hash) != sha256.Size {
		return tokenEntry{}, errors.New("the third field is no SHA-256 in hex (64 digits)")
	}
	return newEntry(fields[0], fields[1], [sha256.Size]byte(hash))
}

func newEntry(name, role string, hash [sha256.Size]byte) (tokenEntry, error) {
	permissions, ok := roles[role]
	switch {
	case !ok:
		return tokenEntry{}, fmt.Errorf("there is no role %q: use manager, site-lead, office, trainer or viewer", role)
	case hash == sha256.Sum256(nil), hash == sha256.Sum256([]byte("\n")):
		// An empty variable or file was hashed; the door would stand open.
		return tokenEntry{}, errors.New("the token is empty: make one that nobody can guess")
	}
	return tokenEntry{hash: hash, caller: Caller{Name: name, Permissions: permissions}}, nil
}

// NewToken makes a token that nobody can guess.
func NewToken() string { return rand.Text() }

// Add lets the holder of a token call with a role. It refuses an empty token and a role that does not exist.
func (t *Tokens) Add(name, role, token string) error {
	entry, err := newEntry(name, role, sha256.Sum256([]byte(token)))
	if err != nil {
		return err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.entries = append(t.entries, entry)
	return nil
}

// Lookup returns the caller of a token. It compares all entries in constant time.
func (t *Tokens) Lookup(token string) (Caller, bool) {
	hash := sha256.Sum256([]byte(token))
	var (
		found Caller
		ok    bool
	)
	t.mu.RLock()
	defer t.mu.RUnlock()
	for _, e := range t.entries {
		if subtle.ConstantTimeCompare(hash[:], e.hash[:]) == 1 {
			found, ok = e.caller, true
		}
	}
	return found, ok
}

// insideScheme is the scheme of calls from inside this process.
const insideScheme = "Inside"

// As returns a context for calls over an in-process connection on behalf of a person who has signed in here: the call decides by
// their role, and audit trails keep their name. It refuses a role that does not exist.
func (t *Tokens) As(ctx context.Context, name, role string) (context.Context, error) {
	if _, ok := roles[role]; !ok {
		return ctx, fmt.Errorf("there is no role %q", role)
	}
	value := strings.Join([]string{insideScheme, t.insideSecret(), role, hex.EncodeToString([]byte(name))}, " ")
	return metadata.AppendToOutgoingContext(ctx, "authorization", value), nil
}

func (t *Tokens) insideSecret() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.inside == "" {
		t.inside = rand.Text()
	}
	return t.inside
}

// insider finds who is meant by what follows the scheme of As.
func (t *Tokens) insider(value string) (Caller, error) {
	unknown := apperr.Unauthenticatedf("TOKEN_UNKNOWN", "This is not known here.")
	fields := strings.Fields(value)
	if len(fields) != 3 || subtle.ConstantTimeCompare([]byte(fields[0]), []byte(t.insideSecret())) != 1 {
		return Caller{}, unknown
	}
	name, err := hex.DecodeString(fields[2])
	permissions, ok := roles[fields[1]]
	if err != nil || !ok {
		return Caller{}, unknown
	}
	return Caller{Name: string(name), Permissions: permissions}, nil
}

// PermissionsOf returns what a role may do; nothing for a role that does not exist.
func PermissionsOf(role string) []accessv1.Permission { return slices.Clone(roles[role]) }

// Roles returns the names of all roles, sorted.
func Roles() []string { return slices.Sorted(maps.Keys(roles)) }

// callerOf finds the caller by the values of an authorization header.
func (t *Tokens) callerOf(headers []string) (Caller, error) {
	for _, value := range headers {
		scheme, token, _ := strings.Cut(value, " ")
		if scheme == insideScheme {
			return t.insider(token)
		}
		if !strings.EqualFold(scheme, "bearer") {
			continue
		}
		if caller, ok := t.Lookup(strings.TrimSpace(token)); ok {
			return caller, nil
		}
		return Caller{}, apperr.Unauthenticatedf("TOKEN_UNKNOWN", "This token is not known here: ask who runs the server for one.")
	}
	return Caller{}, apperr.Unauthenticatedf("TOKEN_MISSING", "Send a token: the header `authorization: Bearer TOKEN`.")
}
