package allocation_test

import (
	"bytes"
	"compress/gzip"
	"strings"
	"testing"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const small = `{"format":"allocation-problem","version":1,"name":"two","days":3,
"sites":[{"name":"a","runs":[{"class":"S","capacity":[1,1]}],"intake":[1,1],"handover":[0,1,1],"minutes":[60,60],"clean_down":1}],
"trainers":[{"site":0,"works":[1,0],"minutes":[60,0],"dogs":[2,0]}],
"together":[[0,1]],
"dogs":[{"nights":1,"placements":[{"site":0,"arrival":0,"value":-5,"runs":[[0,2]],"trainers":[[0,3,40,10]]}]},{"nights":2,"placements":[]}]}`

func TestReadProblem(t *testing.T) {
	t.Parallel()
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, err := z.Write([]byte(small))
	require.NoError(t, err)
	require.NoError(t, z.Close())
	for name, text := range map[string]string{"plain": small, "gzip": packed.String()} {
		p, err := allocation.ReadProblem(strings.NewReader(text))
		require.NoError(t, err, name)
		require.Equal(t, "two", p.Name)
		require.Equal(t, 3, p.Days)
		require.Equal(t, 1, p.Sites[0].CleanDown)
		require.Equal(t, []int{60, 60}, p.Sites[0].Minutes)
		require.Equal(t, []bool{true, false}, p.Trainers[0].Works)
		require.Equal(t, [][]int{{0, 1}}, p.Together)
		g := p.Dogs[0].Placements[0]
		require.Equal(t, -5, g.Value)
		require.Equal(t, []allocation.RunOption{{Class: 0, Penalty: 2}}, g.Runs)
		require.Equal(t, []allocation.TrainerOption{{Trainer: 0, Penalty: 3, Minutes: 40, Cover: 10}}, g.Trainers)
	}
	_, err = allocation.ReadProblem(strings.NewReader(packed.String()[:packed.Len()-9]))
	require.ErrorIs(t, err, allocation.ErrInvalid)
}

func TestReadProblemRefuses(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ old, new, want string }{
		"other format":     {"allocation-problem", "something", "the format is"},
		"other version":    {`"version":1`, `"version":2`, "version 2"},
		"huge":             {`"value":-5`, `"value":99999999999999999999`, "too large"},
		"fraction":         {`"value":-5`, `"value":1.5`, "whole number"},
		"negative room":    {`"capacity":[1,1]`, `"capacity":[1,-1]`, "negative"},
		"negative minutes": {`[0,3,40,10]`, `[0,3,-40,10]`, "minutes -40"},
		"misspelt field":   {`"minutes":[60,60]`, `"minuets":[60,60]`, `unknown field "minuets"`},
		"given twice":      {`"name":"two"`, `"days":3`, "given twice"},
		"too few days":     {`"capacity":[1,1]`, `"capacity":[1]`, "site 0, run class 0, capacity has 1 numbers"},
		"no such class":    {`[[0,2]]`, `[[7,2]]`, "dog 0, placement 0: run class 7"},
		"no such trainer":  {`[0,3,40,10]`, `[4,3,40,10]`, "trainer 4 does not exist"},
		"stays too long":   {`"nights":1`, `"nights":9`, "does not fit"},
		"lonely household": {`[[0,1]]`, `[[0]]`, "household 0 has 1 dogs"},
		"twice at home":    {`[[0,1]]`, `[[0,0]]`, "a dog belongs to one"},
		"more after it":    {`"placements":[]}]}`, `"placements":[]}]} x`, "more after the end"},
		"missing":          {`"days":3,`, ``, `"days" is missing`},
		"short entry":      {`[0,3,40,10]`, `[0,3]`, "an entry has 2 numbers"},
		"twice one day":    {`"placements":[]`, `"placements":[{"site":0,"arrival":0,"value":1},{"site":0,"arrival":0,"value":2}]`, "join them"},
	} {
		text := strings.Replace(small, c.old, c.new, 1)
		require.NotEqual(t, small, text, name)
		_, err := allocation.ReadProblem(strings.NewReader(text))
		require.ErrorIs(t, err, allocation.ErrInvalid, name)
		require.ErrorContains(t, err, c.want, name)
	}
	for cut := range len(small) - 1 {
		_, err := allocation.ReadProblem(strings.NewReader(small[:cut]))
		require.Error(t, err, "cut after %d bytes", cut)
	}
}

func TestWriteReadsBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 6)
		var b, again bytes.Buffer
		require.NoError(t, allocation.WriteProblem(&b, p))
		q, err := allocation.ReadProblem(bytes.NewReader(b.Bytes()))
		require.NoError(t, err)
		require.NoError(t, allocation.WriteProblem(&again, q))
		require.Equal(t, b.String(), again.String())
		require.Equal(t, p.Sites, q.Sites)
		require.Equal(t, p.Trainers, q.Trainers)
		require.Equal(t, p.Together, q.Together)
	})
}

func TestGenerate(t *testing.T) {
	t.Parallel()
	for name, dogs := range map[string]int{"X": 20, "Y": 30, "T": 40, "S": 120, "M": 600} {
		p, err := allocation.Generate(name, 4)
		require.NoError(t, err)
		require.Len(t, p.Dogs, dogs)
		q, err := allocation.Generate(name, 4)
		require.NoError(t, err)
		require.Equal(t, p, q)
		other, err := allocation.Generate(name, 5)
		require.NoError(t, err)
		require.NotEqual(t, p.Dogs, other.Dogs)
	}
	_, err := allocation.Generate("huge", 1)
	require.ErrorIs(t, err, allocation.ErrInvalid)
}

func FuzzReadProblem(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte(smallEasy))
	f.Add([]byte{0x1f, 0x8b, 8, 0})
	f.Add([]byte(`{"format":"\u00e9\ud83d\ude00"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := allocation.ReadProblem(bytes.NewReader(data))
		if err != nil {
			return
		}
		require.NoError(t, p.Validate())
		var b bytes.Buffer
		require.NoError(t, allocation.WriteProblem(&b, p))
		_, err = allocation.ReadProblem(&b)
		require.NoError(t, err)
	})
}
