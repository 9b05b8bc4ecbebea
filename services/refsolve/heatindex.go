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
	rows := make([][2]float64, len(weathers))
	for i, w := range weathers {
		rows[i] = [2]float64{w.TemperatureF, w.HumidityPercent}
	}
	var answer struct {
		Version string
		Index   []float64
	}
	ask(t, heatScript, rows, &answer)
	require.Len(t, answer.Index, len(weathers))
	return answer.Index, answer.Version
}

// ask runs a script of ours with in as JSON on its standard input and reads the JSON that it prints.
func ask(t testing.TB, script []byte, in, out any) {
	t.Helper()
	python := findPython(t)
	program := filepath.Join(t.TempDir(), "ask.py")
	require.NoError(t, os.WriteFile(program, script, 0o644))
	question, err := json.Marshal(in)
	require.NoError(t, err)

	ctx, cancel := context.WithTimeout(t.Context(), grace)
	defer cancel()
	cmd := exec.CommandContext(ctx, python, "-I", program)
	var said bytes.Buffer
	cmd.Stdin, cmd.Stderr = bytes.NewReader(question), &said
	printed, err := cmd.Output()
	require.NoError(t, err, "run the reference: %s", &said)
	require.NoError(t, json.Unmarshal(printed, out), "read what the reference says: %s", printed)
}
