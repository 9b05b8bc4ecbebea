package enrollment

import (
	"context"
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// counting counts the statements that go through it.
type counting struct {
	postgres.Tx
	n int
}

func (c *counting) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	c.n++
	return c.Tx.Query(ctx, sql, args...)
}

func (c *counting) Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	c.n++
	return c.Tx.Exec(ctx, sql, args...)
}

// TestTheNumberOfQueriesIsFixed compares a month of 2 requests with one of 200.
func TestTheNumberOfQueriesIsFixed(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	dogs, requests, sites := []string{dogsCSV}, []string{}, []string{"request,site,travel_minutes"}
	for i := range 198 {
		dogs = append(dogs, fmt.Sprintf("D%d,LOWE,Rex,,0,no,male,2025-06-15,20.0,700,600,,,", i))
		requests = append(requests, fmt.Sprintf("Q%d,D%d,MANNERS,2027-06-01,2027-06-20,", i, i))
		sites = append(sites, fmt.Sprintf("Q%d,HILL,%d", i, i))
	}
	s.mustPut(t, KindDogs, dogs...)
	s.mustPut(t, KindRequests, requestFile(requests...)...)
	s.mustPut(t, KindRequestSites, sites...)

	count := func(read func(db postgres.DB) ([]Case, error)) (queries, cases int) {
		t.Helper()
		err := postgres.ReadTx(t.Context(), s.Pool, func(tx postgres.Tx) error {
			c := &counting{Tx: tx}
			found, err := read(c)
			queries, cases = c.n, len(found)
			return err
		})
		require.NoError(t, err)
		return queries, cases
	}
	few, n := count(func(db postgres.DB) ([]Case, error) { return ListCases(t.Context(), db, calendar.MustMonth("2027-03")) })
	require.Equal(t, 2, n)
	many, n := count(func(db postgres.DB) ([]Case, error) { return ListCases(t.Context(), db, calendar.MustMonth("2027-06")) })
	require.Equal(t, 198, n)
	require.Equal(t, few, many)
	require.Equal(t, 7, few)

	var all []ids.RequestID
	for _, id := range s.codes(t, KindRequests) {
		all = append(all, ids.RequestID(id))
	}
	byID, n := count(func(db postgres.DB) ([]Case, error) { return ListCasesByRequest(t.Context(), db, all) })
	require.Equal(t, len(all), n)
	require.Equal(t, few, byID)
}
