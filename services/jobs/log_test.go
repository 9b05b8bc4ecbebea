package jobs

import (
	"bytes"
	"errors"
	"log/slog"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestLoggerHidesAddressesEverywhere(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	l := logger(slog.New(slog.NewJSONHandler(&out, nil))).With("to", "a@b.example").WithGroup("g")
	l.Info("not shown")
	require.Empty(t, out.String())
	l.Warn("mail to c@d.example failed", "error", errors.New("550 <e@f.example>"), "n", 7,
		slog.Group("who", slog.String("address", "g@h.example")))
	require.NotContains(t, out.String(), "example")
	require.Contains(t, out.String(), `"n":7`)
	require.Contains(t, out.String(), `mail to [address] failed`)
	require.NotPanics(t, func() { logger(nil).Error("nobody listens") })
}
