package roster

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"testing"

	"github.com/stretchr/testify/require"
)

// printed shows a trainer in every way in which one might end up in a log.
func printed(t *testing.T, tr Trainer) []string {
	t.Helper()
	asJSON, err := json.Marshal(tr)
	require.NoError(t, err)
	var text, lines bytes.Buffer
	slog.New(slog.NewTextHandler(&text, nil)).Info("x", "trainer", tr, "all", []Trainer{tr})
	slog.New(slog.NewJSONHandler(&lines, nil)).Info("x", "trainer", tr, "all", []Trainer{tr})
	out := []string{string(asJSON), text.String(), lines.String(), fmt.Sprint(tr), fmt.Sprintf("%+v", []Trainer{tr}), fmt.Errorf("x: %v", tr).Error()}
	for _, s := range out {
		require.Contains(t, s, tr.Code)
	}
	return out
}

func TestTrainerKeepsItsAddressToItself(t *testing.T) {
	t.Parallel()
	tr := Trainer{Code: "ANA", Name: "Ana Reyes", Email: "ana@example.org"}
	for _, text := range printed(t, tr) {
		require.NotContains(t, text, "example.org")
	}
}
