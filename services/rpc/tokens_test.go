package rpc_test

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

func hashOf(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

func tokenFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "tokens")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

func TestLoad(t *testing.T) {
	t.Parallel()
	tokens := &rpc.Tokens{}
	require.NoError(t, tokens.Load(tokenFile(t, "# who may call\r\n\r\nkim\tmanager "+hashOf("one")+"\r\n  lee   viewer  "+strings.ToUpper(hashOf("two"))+"\n#lee office "+hashOf("three"))))
	kim, ok := tokens.Lookup("one")
	require.True(t, ok)
	require.Equal(t, "kim", kim.Name)
	require.ElementsMatch(t, rpc.RoleSets["manager"], kim.Permissions)
	lee, ok := tokens.Lookup("two")
	require.True(t, ok)
	require.Equal(t, rpc.Caller{Name: "lee", Permissions: rpc.RoleSets["viewer"]}, lee)
	for _, unknown := range []string{"", "three", hashOf("one"), "one\n", "ONE"} {
		_, ok := tokens.Lookup(unknown)
		require.False(t, ok, "%q", unknown)
	}
}

func TestLoadNamesEveryFaultByLine(t *testing.T) {
	t.Parallel()
	good := "kim manager " + hashOf("one")
	for _, tc := range []struct {
		name, text string
		faults     []string
	}{
		{"too few fields", good + "\nlee viewer", []string{"line 2: has 2 fields"}},
		{"too many fields", "lee of the office viewer " + hashOf("two"), []string{"line 1: has 6 fields"}},
		{"no such role", "\n\nlee boss " + hashOf("two"), []string{`line 3: there is no role "boss": use manager, site-lead, office, trainer or viewer`}},
		{"short hash", "lee viewer abcd", []string{"line 1: the third field is no SHA-256 in hex (64 digits)"}},
		{"no hex", "lee viewer " + strings.Repeat("z", 64), []string{"line 1: the third field"}},
		{"a token instead of its hash", "lee viewer " + rpc.NewToken(), []string{"line 1: the third field"}},
		{"hash of nothing", "lee viewer " + hashOf(""), []string{"line 1: the token is empty"}},
		{"hash of an empty line", "lee viewer " + hashOf("\n"), []string{"line 1: the token is empty"}},
		{"one token for two", good + "\nlee viewer " + hashOf("one"), []string{"line 2: has the same token as line 1"}},
		{"several", "a\n" + good + "\nb\n", []string{"line 1: has 1 fields", "line 3: has 1 fields"}},
		{"nobody", "# nobody yet\n", []string{"names no caller"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			tokens := &rpc.Tokens{}
			err := tokens.Load(tokenFile(t, tc.text))
			for _, fault := range tc.faults {
				require.ErrorContains(t, err, fault)
			}
			_, ok := tokens.Lookup("one")
			require.False(t, ok, "a file with a fault lets nobody in")
		})
	}
	require.ErrorIs(t, (&rpc.Tokens{}).Load(filepath.Join(t.TempDir(), "none")), os.ErrNotExist)
}

func TestAdd(t *testing.T) {
	t.Parallel()
	tokens := &rpc.Tokens{}
	require.ErrorContains(t, tokens.Add("kim", "boss", "one"), "no role")
	require.ErrorContains(t, tokens.Add("kim", "manager", ""), "empty")
	_, ok := tokens.Lookup("")
	require.False(t, ok)
	// Callers come while others are added.
	var both sync.WaitGroup
	for range 4 {
		both.Go(func() {
			secret := rpc.NewToken()
			if _, known := tokens.Lookup(secret); known || tokens.Add("kim", "manager", secret) != nil {
				t.Error("a new token was known, or refused")
			}
			if _, known := tokens.Lookup(secret); !known {
				t.Error("the token that was added is not known")
			}
		})
	}
	both.Wait()
}

func TestNewTokenCannotBeGuessed(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for range 1000 {
		secret := rpc.NewToken()
		require.GreaterOrEqual(t, len(secret), 26, "26 letters of base 32 are 130 bits")
		require.False(t, seen[secret])
		seen[secret] = true
	}
}

// TestAPersonInside: calls from inside carry the person's name and role; nobody outside can make such a call up.
func TestAPersonInside(t *testing.T) {
	t.Parallel()
	p := &planner{}
	tokens := &rpc.Tokens{}
	server, err := rpc.NewServer(quiet(), tokens, rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { plannerv1.RegisterPlannerServiceServer(r, p) }})
	require.NoError(t, err)
	t.Cleanup(func() { server.Stop(0) })
	conn, err := server.Dial()
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	client := plannerv1.NewPlannerServiceClient(conn)

	for role, code := range map[string]codes.Code{"manager": codes.Unimplemented, "viewer": codes.PermissionDenied} {
		ctx, err := tokens.As(t.Context(), "Zo\u00eb O'Neil <b>", role)
		require.NoError(t, err)
		_, err = client.PublishPlan(ctx, &plannerv1.PublishPlanRequest{PlanId: "01930000-0000-7000-8000-000000000000"})
		require.Equal(t, code, status.Code(err), role)
	}
	_, err = tokens.As(t.Context(), "rosa", "owner")
	require.ErrorContains(t, err, "owner")
	other := &rpc.Tokens{}
	ctx, err := other.As(t.Context(), "rosa", "manager")
	require.NoError(t, err)
	_, err = client.ListPlans(ctx, &plannerv1.ListPlansRequest{})
	require.Equal(t, codes.Unauthenticated, status.Code(err), "the secret of another process")
	for _, made := range []string{"Inside", "Inside  manager 61", "Inside x manager 61", "Inside x manager"} {
		_, err := client.ListPlans(metadata.AppendToOutgoingContext(t.Context(), "authorization", made), &plannerv1.ListPlansRequest{})
		require.Equal(t, codes.Unauthenticated, status.Code(err), made)
	}
}
