package enrollment

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/workload"
)

// TestPairsStandOnce: which dog comes first does not matter, and neither does the spelling of a file.
func TestPairsStandOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	const header = "dog,other,reason"
	s.mustPut(t, KindApart, header, "KIM,BO,turned round")
	require.Equal(t, []string{header, "BO,KIM,turned round", "DOT,KIM,owner asks for it"}, s.list(t, KindApart))
	require.Equal(t, []fault{{3, "other"}}, faultsOf(s.put(t, KindApart, header, "BO,DOT,one", "DOT,BO,the same")))
	require.Equal(t, []fault{{2, "other"}}, faultsOf(s.put(t, KindApart, header, "BO,BO,itself")))
	require.Contains(t, s.list(t, KindApart), "BO,DOT,one")

	code := s.codes(t, KindDogs)
	bo, dot, kim := ids.DogID(code["BO"]), ids.DogID(code["DOT"]), ids.DogID(code["KIM"])
	pairs, err := ListApart(t.Context(), s, []ids.DogID{bo, dot})
	require.NoError(t, err)
	require.Len(t, pairs, 1, "only pairs of which both are there")
	require.Equal(t, map[ids.DogID]bool{bo: true, dot: true}, map[ids.DogID]bool{pairs[0].DogID: true, pairs[0].OtherID: true})
	_, err = s.Exec(t.Context(), `insert into enrollment.apart (dog_id, other_id, reason) values (greatest($1::uuid, $2), least($1::uuid, $2), 'x')`, dot, kim)
	require.ErrorContains(t, err, "apart_order_check")
}

// TestTraitsOutliveOldFiles: a file without the columns leaves them, and an empty cell takes a word back.
func TestTraitsOutliveOldFiles(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	const dot = "DOT,LOWE,Dot,,6,yes,spayed,2024-02-29,30.0,800,650,3b,,"
	id := ids.DogID(s.codes(t, KindDogs)["DOT"])
	traits := func() Traits {
		all, err := ListTraits(t.Context(), s, []ids.DogID{id})
		require.NoError(t, err)
		return all[id]
	}
	want := Traits{FlatFaced: workload.No, Overweight: workload.Yes, TwoPeople: workload.Yes}
	require.Equal(t, want, traits())
	s.mustPut(t, KindDogs, dogsCSV, dot)
	require.Equal(t, want, traits())
	s.mustPut(t, KindDogs, dogsCSV+",overweight", dot+",no")
	want.Overweight = workload.No
	require.Equal(t, want, traits())
	s.mustPut(t, KindDogs, dogsCSV+traitsCSV, dot+",,,no")
	require.Equal(t, Traits{TwoPeople: workload.No}, traits())
}
