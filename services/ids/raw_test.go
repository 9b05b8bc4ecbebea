package ids_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/ids"
)

func TestRawAndBack(t *testing.T) {
	t.Parallel()
	mint := ids.NewMint()
	list := []ids.RequestID{ids.RequestID(mint()), ids.RequestID(mint()), {}}
	require.Equal(t, list, ids.OfRaw[ids.RequestID](ids.Raw(list)))
	require.NotNil(t, ids.Raw[ids.RequestID](nil), "an empty list, not NULL")
	require.Empty(t, ids.Raw[ids.RequestID](nil))
}
