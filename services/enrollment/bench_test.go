package enrollment

import (
	"errors"
	"fmt"
	"strconv"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
)

func atoi(t testing.TB, text string) int32 {
	t.Helper()
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	return int32(n)
}

// manyRequests makes a file of n requests, each of a dog of its own that is in the database, with a household for every ten.
func manyRequests(b *testing.B, s *school, n int) []records.Row {
	b.Helper()
	s.fill(b, KindDogs)
	dogs, requests := []string{dogsCSV}, make([]string, n)
	for i := range n {
		dogs = append(dogs, fmt.Sprintf("D%d,LOWE,Rex,,0,no,male,2025-06-15,20.0,700,600,,,", i))
		household := ""
		if i%10 < 2 {
			household = fmt.Sprintf("H%d", i/10)
		}
		first := day("2027-03-01").AddDays(i / 10 % 300)
		requests[i] = fmt.Sprintf("Q%d,D%d,MANNERS,%s,%s,%s", i, i, first, first.AddDays(20), household)
	}
	s.mustPut(b, KindDogs, dogs...)
	return s.rows(b, s.port(b, KindRequests), requestFile(requests...)...)
}

var errRollback = errors.New("roll back")

// BenchmarkPutRequests measures 100,000 new requests. The time is that of Check and Put, without reading the file.
func BenchmarkPutRequests(b *testing.B) {
	s := newSchool(b)
	port := s.port(b, KindRequests)
	rows := manyRequests(b, s, 100_000)
	for b.Loop() {
		err := postgres.InTx(b.Context(), s.Pool, func(tx postgres.Tx) error {
			for _, row := range rows {
				require.Empty(b, port.Check(row))
			}
			wrong, err := port.Put(b.Context(), tx, records.Intake{Mint: uuid.New, Now: testNow}, rows)
			require.NoError(b, err)
			require.Empty(b, wrong)
			return errRollback
		})
		require.ErrorIs(b, err, errRollback)
	}
}

// BenchmarkPutKnownRequests measures 100,000 requests that are known and change nothing.
func BenchmarkPutKnownRequests(b *testing.B) {
	s := newSchool(b)
	port := s.port(b, KindRequests)
	rows := manyRequests(b, s, 100_000)
	put := func(after error) error {
		return postgres.InTx(b.Context(), s.Pool, func(tx postgres.Tx) error {
			wrong, err := port.Put(b.Context(), tx, records.Intake{Mint: uuid.New, Now: testNow}, rows)
			require.NoError(b, err)
			require.Empty(b, wrong)
			return after
		})
	}
	require.NoError(b, put(nil))
	for b.Loop() {
		require.ErrorIs(b, put(errRollback), errRollback)
	}
}

// BenchmarkListCases measures one month out of 100,000 requests in a year.
func BenchmarkListCases(b *testing.B) {
	s := newSchool(b)
	port := s.port(b, KindRequests)
	rows := manyRequests(b, s, 100_000)
	err := postgres.InTx(b.Context(), s.Pool, func(tx postgres.Tx) error {
		_, err := port.Put(b.Context(), tx, records.Intake{Mint: uuid.New, Now: testNow}, rows)
		return err
	})
	require.NoError(b, err)
	n := 0
	for b.Loop() {
		cases, err := ListCases(b.Context(), s, calendar.MustMonth("2027-05"))
		require.NoError(b, err)
		n = len(cases)
	}
	b.ReportMetric(float64(n), "cases")
}
