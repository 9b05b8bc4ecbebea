package refsolve

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

//go:embed heatindex.py
var heatScript []byte

// Weather is an air temperature in degrees Fahrenheit and a relative humidity in percent.
type Weather struct{ TemperatureF, HumidityPercent float64 }

// HeatIndex returns MetPy's heat index in degrees Fahrenheit for each weather, and the name and version of the library for the
// source of an outside check. Where the library is not installed the test fails and says what to run, or is skipped when the
// reference checks are left out on purpose.
func HeatIndex(t testing.TB, weathers []Weather) (indexF []float64, version string) {
	t.Helper()
	python := findPython(t)
	program := filepath.Join(t.TempDir(), "heatindex.py")
	require.NoError(t, os.WriteFile(program, heatScript, 0o644))
	rows := make([][2]float64, len(weathers))
	for i, w := range weathers {
		rows[i] = [2]float64{w.TemperatureF, w.HumidityPercent}
	}
	in, err := json.Marshal(rows)
	require.NoError(t, err)

	ctx, cancel := context.WithTimeout(t.Context(), grace)
	defer cancel()
	cmd := exec.CommandContext(ctx, python, "-I", program)
	var said bytes.Buffer
	cmd.Stdin, cmd.Stderr = bytes.NewReader(in), &said
	out, err := cmd.Output()
	require.NoError(t, err, "run the reference heat index: %s", &said)
	var answer struct {
		Version string
		Index   []float64
	}
	require.NoError(t, json.Unmarshal(out, &answer), "read the reference heat index: %s", out)
	require.Len(t, answer.Index, len(weathers))
	return answer.Index, answer.Version
}
