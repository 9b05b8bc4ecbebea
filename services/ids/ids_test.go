package ids_test

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/ids"
)

const sample = "0193a5c0-7b1e-7cc1-9d2f-3a4b5c6d7e8f"

func TestParse(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, text string
		wantErr    string
	}{
		{"usual form", sample, ""},
		{"upper case", strings.ToUpper(sample), ""},
		{"empty", "", `site ID "": not an identifier`},
		{"zeros", uuid.Nil.String(), "stands for nothing"},
		{"braces", "{" + sample + "}", "not an identifier"},
		{"urn", "urn:uuid:" + sample, "not an identifier"},
		{"no hyphens", strings.ReplaceAll(sample, "-", ""), "not an identifier"},
		{"not hexadecimal", "g" + sample[1:], "not an identifier"},
		{"a name", "North site", `site ID "North site"`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			id, err := ids.Parse[ids.SiteID](tt.text)
			if tt.wantErr != "" {
				require.ErrorContains(t, err, tt.wantErr)
				require.True(t, id.IsZero())
				return
			}
			require.NoError(t, err)
			require.Equal(t, sample, id.String())
			require.Equal(t, sample, id.UUID().String())
		})
	}
	require.Panics(t, func() { ids.MustParse[ids.DogID]("rex") })
}

// TestKindsAreDistinct lists every kind: each has a Go type of its own and says its name in errors.
func TestKindsAreDistinct(t *testing.T) {
	t.Parallel()
	kinds := map[string]any{
		"site": ids.SiteID{}, "run": ids.RunID{}, "closure": ids.ClosureID{}, "training area": ids.AreaID{},
		"trainer": ids.TrainerID{}, "absence": ids.AbsenceID{}, "loan": ids.LoanID{}, "program": ids.ProgramID{},
		"owner": ids.OwnerID{}, "dog": ids.DogID{}, "request": ids.RequestID{}, "vaccination": ids.VaccinationID{},
		"stay": ids.StayID{}, "plan": ids.PlanID{}, "household": ids.HouseholdID{}, "policy": ids.PolicyID{},
		"study of moves": ids.MoveStudyID{}, "skill": ids.SkillID{}, "session": ids.SessionID{},
		"calendar feed": ids.FeedID{},
		"letter":        ids.LetterID{},
		"person":        ids.PersonID{},
	}
	seen := map[reflect.Type]string{}
	for name, id := range kinds {
		typ := reflect.TypeOf(id)
		require.Empty(t, seen[typ], "%s shares its type", name)
		seen[typ] = name
		err := reflect.New(typ).Interface().(interface{ Scan(any) error }).Scan("x")
		require.ErrorContains(t, err, name+` ID "x"`)
	}
	require.Len(t, seen, 22)
}

func TestZeroIsAbsent(t *testing.T) {
	t.Parallel()
	var id ids.StayID
	require.True(t, id.IsZero())
	require.Empty(t, id.String())
	v, err := id.Value()
	require.NoError(t, err)
	require.Nil(t, v)

	got := ids.StayID(ids.NewMint()())
	require.False(t, got.IsZero())
	require.NoError(t, got.Scan(nil))
	require.True(t, got.IsZero())
}

func TestTextAndSQLRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		raw := rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "bytes")
		id := ids.OwnerID(raw)

		type doc struct {
			Owner  ids.OwnerID         `json:"owner"`
			ByDog  map[ids.DogID]int   `json:"by_dog"`
			Others []ids.HouseholdID   `json:"others"`
			Maybe  *ids.VaccinationID  `json:"maybe"`
			Plans  map[string][]string `json:"plans"`
		}
		in := doc{Owner: id, Others: []ids.HouseholdID{ids.HouseholdID(raw)}}
		if !id.IsZero() {
			in.ByDog = map[ids.DogID]int{ids.DogID(raw): 1}
		}
		text, err := json.Marshal(in)
		require.NoError(t, err)
		var out doc
		require.NoError(t, json.Unmarshal(text, &out))
		require.Equal(t, in, out)

		v, err := id.Value()
		require.NoError(t, err)
		var back ids.OwnerID
		require.NoError(t, back.Scan(v))
		require.Equal(t, id, back)
		require.NoError(t, back.Scan(raw))
		require.Equal(t, id, back)
		require.NoError(t, back.Scan([16]byte(raw)))
		require.Equal(t, id, back)
		if !id.IsZero() {
			require.NoError(t, back.Scan([]byte(id.String())))
			require.Equal(t, id, back)
		}
	})
}

func TestScanRefuses(t *testing.T) {
	t.Parallel()
	id := ids.MustParse[ids.RunID](sample)
	require.ErrorContains(t, id.Scan(7), "scan a run ID: cannot read a int")
	require.Error(t, id.Scan([]byte{1, 2, 3}))
	require.Equal(t, sample, id.String(), "a failed scan leaves the value alone")
}

func TestNewMint(t *testing.T) {
	t.Parallel()
	mint := ids.NewMint()
	var series []ids.PlanID
	for range 1000 {
		u := mint()
		require.Equal(t, uuid.Version(7), u.Version())
		require.Equal(t, uuid.RFC4122, u.Variant())
		series = append(series, ids.PlanID(u))
	}
	require.True(t, slices.IsSortedFunc(series, ids.PlanID.Compare), "later identifiers sort later")
	require.Len(t, slices.Compact(series), 1000)
}

func TestSequenceMint(t *testing.T) {
	t.Parallel()
	a, again, b := ids.SequenceMint(7), ids.SequenceMint(7), ids.SequenceMint(8)
	require.Equal(t, "00000007-0000-7000-8000-000000000001", a().String())
	require.Equal(t, a(), func() uuid.UUID { again(); return again() }())
	seen := map[uuid.UUID]bool{}
	for range 1000 {
		u, v := a(), b()
		require.Equal(t, uuid.Version(7), u.Version())
		require.Equal(t, uuid.RFC4122, u.Variant())
		require.False(t, seen[u] || seen[v])
		seen[u], seen[v] = true, true
	}
}

func TestSequenceMintConcurrently(t *testing.T) {
	t.Parallel()
	mint := ids.SequenceMint(1)
	var mu sync.Mutex
	seen := map[uuid.UUID]bool{}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 100 {
				u := mint()
				mu.Lock()
				seen[u] = true
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	require.Len(t, seen, 800)
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"", sample, uuid.Nil.String(), "{" + sample + "}", "x"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		id, err := ids.Parse[ids.SiteID](text)
		if err != nil {
			require.True(t, id.IsZero())
			return
		}
		require.Equal(t, strings.ToLower(text), id.String())
	})
}
