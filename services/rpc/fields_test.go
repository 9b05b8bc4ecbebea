package rpc_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/rpc"
)

func TestFields(t *testing.T) {
	t.Parallel()
	days, err := rpc.Days("2027-03-08", "2027-03-14")
	require.NoError(t, err)
	require.Equal(t, "[2027-03-08,2027-03-15)", days.String(), "both days are meant")
	month, err := rpc.Month("2027-03")
	require.NoError(t, err)
	require.Equal(t, "2027-03", month.String())
	for name, c := range map[string]struct {
		err  error
		says string
	}{
		"no month":        {second(rpc.Month("2027-13")), "month"},
		"the last month":  {second(rpc.Month("9999-12")), "at the end of all months"},
		"no day":          {second(rpc.Day("from_day", "14.3.2027")), "from_day"},
		"no first day":    {second(rpc.Days("", "2027-03-14")), "first_day"},
		"no last day":     {second(rpc.Days("2027-03-08", "soon")), "last_day"},
		"turned round":    {second(rpc.Days("2027-03-08", "2027-03-07")), "must not be before the first day"},
		"the last of all": {second(rpc.Days("2027-03-08", "9999-12-31")), "last one that can be written"},
	} {
		require.ErrorContains(t, c.err, c.says, name)
	}
}

func second[T any](_ T, err error) error { return err }
