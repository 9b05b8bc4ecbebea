package enrollment

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/ids"
)

func TestMedicineDays(t *testing.T) {
	t.Parallel()
	m := Medicine{FirstDay: day("2027-03-02"), LastDay: day("2027-03-04")}
	for text, given := range map[string]bool{"2027-03-01": false, "2027-03-02": true, "2027-03-04": true, "2027-03-05": false} {
		require.Equal(t, given, m.On(day(text)), text)
	}
	m.LastDay = day("2027-03-02")
	require.True(t, m.On(day("2027-03-02")), "a single day")
	require.True(t, Medicine{FirstDay: day("2027-03-02")}.On(day("2099-01-01")), "until further notice")
}

func TestUpkeepOfDogs(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	codes := s.codes(t, KindDogs)
	bo, dot, kim := ids.DogID(codes["BO"]), ids.DogID(codes["DOT"]), ids.DogID(codes["KIM"])
	all, err := ListUpkeep(t.Context(), s, []ids.DogID{bo, dot})
	require.NoError(t, err)
	require.NotContains(t, all, kim, "nobody asked about it")
	require.Equal(t, &Vet{DogID: bo, Name: "Low Mill Practice", Phone: "+1 555 0190"}, all[bo].Vet)
	require.Len(t, all[bo].Medicines, 2)
	require.Equal(t, []string{"08:00", "20:30"}, all[bo].Medicines[0].Times)
	require.True(t, all[bo].Medicines[1].LastDay.IsZero())
	require.Empty(t, all[bo].Feeding)
	require.Nil(t, all[dot].Vet)
	require.Equal(t, "eats slowly", all[dot].Feeding)
	require.Equal(t, []Bite{{DogID: dot, Day: day("2026-05-02"), Level: "3b", Note: "at the gate"}, {DogID: dot, Day: day("2026-11-02"), Level: "1"}}, all[dot].Bites)
}
