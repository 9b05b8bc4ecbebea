package graduation_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/graduation"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/rpc"
)

// TestOwnersTimesAsAList: what is taken in comes out the same, and each fault is named with its line.
func TestOwnersTimesAsAList(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	files := exchange.NewServer(exchange.Deps{Pool: s.pool, Mint: ids.NewMint(), Now: func() time.Time { return s.now }, Caller: rpc.CallerName, Ports: ports()})
	take := func(content string) exchange.Report {
		report, err := files.Take(t.Context(), []exchange.File{{Name: "owner-times.csv", Content: []byte("request,weekday,starts,ends,liked\n" + content)}}, exchange.Settings{}, func(exchange.Progress) {})
		require.NoError(t, err)
		return report
	}
	bad := take("M-001,someday,10:00,16:00,yes\nM-002,any,16:00,10:00,no\nM-9999,any,10:00,16:00,no\n")
	require.Len(t, bad.Faults, 3, "%v", bad.Faults)
	require.Zero(t, s.count(t, `select count(*) from graduation.owner_time`), "a list with faults changes nothing")
	require.Empty(t, take("M-001,any,09:00,12:00,no\nM-001,saturday,10:00,16:00,yes\n").Faults)
	require.Empty(t, take("M-001,any,09:00,11:30,no\n").Faults)
	rows, err := graduation.Ports()[0].List(t.Context(), s.pool)
	require.NoError(t, err)
	require.Equal(t, [][]string{{"M-001", "any", "09:00", "11:30", "no"}, {"M-001", "saturday", "10:00", "16:00", "yes"}}, rows)
}
