package months

import (
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

func TestWeekBars(t *testing.T) {
	t.Parallel()
	w := weekly{used: []int64{0, 5, 10, 25, 3}, capacity: []int64{10, 10, 10, 10, 0}, full: []int32{0, 1, 7, 9, 0}}
	draft := weekBars(w, []int32{7, 7, 7, 7, 3}, true)
	require.Empty(t, draft.Kept, "a proposal is not drawn as a promise")
	require.Equal(t, 3, strings.Count(draft.Plan, "M"), "no bar for nothing used, none without capacity")
	require.Contains(t, draft.Plan, "v-16h13", "half full is half as high as the line: (40-8)/2")
	require.Contains(t, draft.Plan, "v-32h13", "full reaches the line")
	require.Contains(t, draft.Plan, "v-38h13", "what is over is drawn to 120 percent and no further")
	require.Equal(t, "M19 4h2v4h-2zM35 4h13v4h-13zM51 4h13v4h-13z", draft.Cap, "one day of seven is seen; all of them, and more than there are, cover the bar")
	kept := weekBars(w, []int32{7, 7, 7, 7, 3}, false)
	require.Empty(t, kept.Plan)
	require.Equal(t, draft.Plan, kept.Kept)
}

// TestBarsStayInTheirPicture draws loads by chance: no bar leaves the picture, a bar is never higher for a smaller load, and a cap says just that a day is full.
func TestBarsStayInTheirPicture(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(6, 1))
	bar := regexp.MustCompile(`M(\d+) (\d+)v-(\d+)h(\d+)`)
	for range 300 {
		n := 1 + rng.IntN(31)
		used, capacity := make([]int64, n), make([]int64, n)
		full := 0
		for i := range used {
			used[i], capacity[i] = rng.Int64N(40), rng.Int64N(30)
			if capacity[i] > 0 && used[i] >= capacity[i] {
				full++
			}
		}
		d := dayBars(used, capacity, true)
		require.Equal(t, full, strings.Count(d.Cap, "M"))
		require.Equal(t, n, strings.Count(d.Line, "M"), "a line for each day")
		for _, m := range bar.FindAllStringSubmatch(d.Plan, -1) {
			x, floor, high, wide := number(t, m[1]), number(t, m[2]), number(t, m[3]), number(t, m[4])
			require.LessOrEqual(t, x+wide, d.Width)
			require.LessOrEqual(t, high, floor)
		}
		a, b := rng.Int64N(50), rng.Int64N(50)
		require.Equal(t, a <= b, heightOf(a, 50, 5000) <= heightOf(b, 50, 5000))
	}
}

func number(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	return n
}

func TestDayMarksAreMondays(t *testing.T) {
	t.Parallel()
	first, err := calendar.ParseDate("2027-03-01")
	require.NoError(t, err)
	var texts []string
	for _, m := range dayMarks(first, 31) {
		texts = append(texts, m.Text)
	}
	require.Equal(t, []string{"1 Mar", "8 Mar", "15 Mar", "22 Mar", "29 Mar"}, texts)
	for _, m := range dayMarks(first.AddDays(3), 20) {
		texts = append(texts, m.Text)
	}
	require.Equal(t, []string{"4 Mar", "8 Mar", "15 Mar", "22 Mar"}, texts[5:], "the first day is marked whatever it is")
}

func TestTrace(t *testing.T) {
	t.Parallel()
	at := func(seconds int, value, bound int64) moment {
		return moment{After: time.Duration(seconds) * time.Second, Value: value, Bound: bound, Bounded: bound > 0}
	}
	drawn := traceOf([]moment{at(0, 0, 0), at(1, 900, 0), at(2, 900, 1200), at(4, 1000, 1100)})
	require.Equal(t, 4, drawn.Seconds)
	require.True(t, strings.HasPrefix(drawn.Value, "M117 "), "the line begins when something is found: %s", drawn.Value)
	require.True(t, strings.HasPrefix(drawn.Bound, "M235 "), drawn.Bound)
	require.True(t, strings.HasSuffix(drawn.Value, "H470") && strings.HasSuffix(drawn.Bound, "H470"))
	require.Less(t, drawn.BoundY, drawn.ValueY, "the bound lies above")

	closed := traceOf([]moment{at(0, 500, 500)})
	require.GreaterOrEqual(t, closed.ValueY-closed.BoundY, wordsApart, "words do not cover each other")
	nothing := traceOf([]moment{at(0, 0, 0)})
	require.Empty(t, nothing.Bound)
	require.NotEmpty(t, nothing.Value)
	below := traceOf([]moment{at(0, -700, -200), at(1, -600, -300)})
	require.Less(t, below.BoundY, below.ValueY, "points may be below zero")
}

func TestTradeOff(t *testing.T) {
	t.Parallel()
	drawn := tradeOffOf([]*plannerv1.MovePoint{
		{Moves: 0, Impossible: true}, {Moves: 1, Found: true, Points: 1000, Bound: 1100, Placed: 20}, {Moves: 2, Bound: 1200}, {Moves: 5, Found: true, Points: 1200, Bound: 1200, Placed: 22},
	})
	require.Len(t, drawn.Marks, 4)
	require.Equal(t, 2, strings.Count(drawn.Found, "M"), "a bar for what was found only")
	require.Equal(t, 3, strings.Count(drawn.Bound, "M"), "none where it is proven that there is no plan")
	require.Contains(t, drawn.Found, "v-156", "the highest reaches the top: 190-34")
	require.Equal(t, "20 placed", drawn.Marks[1].More)
	require.Empty(t, drawn.Marks[0].More)
	require.Zero(t, len(tradeOffOf(nil).Marks))
}

func TestBindings(t *testing.T) {
	t.Parallel()
	reply := &plannerv1.ReadLoadResponse{FirstDays: []string{"2027-03-01", "2027-03-08"}, Days: []int32{7, 7}, Lines: []*plannerv1.LoadLine{
		{SiteCode: "A", Resource: "runs", Unit: "L", FullDays: []int32{7, 7}, Price: []float32{10, 12}},
		{SiteCode: "A", Resource: "trainer minutes", Unit: "", FullDays: []int32{7, 7}, Price: []float32{99, 99}},
		{SiteCode: "A", Resource: "trainer minutes", Unit: "AMINA", FullDays: []int32{1, 0}, Price: []float32{0.5, 0}},
		{SiteCode: "B", Resource: "intake places", FullDays: []int32{0, 0}, Price: []float32{50, 0}},
		{SiteCode: "B", Resource: "handover places", FullDays: []int32{3, 0}, Price: []float32{0, 0}},
	}}
	got := bindings(reply, "/plan/x", 6)
	require.Len(t, got, 2, "what has no full day, no price, or is told trainer by trainer does not bind")
	require.Equal(t, binding{Site: "A", What: "time of AMINA", Path: "/plan/x/site/A", Full: 1, Of: 14, Worth: 30, sum: 30}, got[0], "an hour of time, at half a point a minute")
	require.Equal(t, binding{Site: "A", What: "runs of class L", Path: "/plan/x/site/A", Full: 14, Of: 14, Worth: 12, sum: 22}, got[1])
	require.Len(t, bindings(reply, "/plan/x", 1), 1)
}

func TestAddressesOfWhateverCodes(t *testing.T) {
	t.Parallel()
	require.Equal(t, "/plan/1/request/a%2Fb%3Fc%22%3E", path("/plan/1/request", `a/b?c">`))
	l := listView{Head: head{Path: "/plan/1"}, Find: `a&which=all "x"`, Site: "S"}
	require.Equal(t, "/plan/1/requests?find=a%26which%3Dall+%22x%22&from=50&site=S&which=placed", l.address("placed", 50))
	require.Equal(t, "/plan/1/requests", (&listView{Head: head{Path: "/plan/1"}}).address("", 0))
}
