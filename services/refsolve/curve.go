package refsolve

import (
	_ "embed"
	"testing"

	"github.com/stretchr/testify/require"
)

//go:embed curve.py
var curveScript []byte

// CurveCase is a learning curve to be fitted and a check to be foreseen.
type CurveCase struct {
	// Sessions are number (from 1), trials and successes.
	Sessions [][3]int `json:"sessions"`
	// Priors are the mean and spread of the logits of start and theta.
	Priors [2][2]float64 `json:"priors"`
	// At is how many sessions come before the check, which asks for at least Need of Trials.
	At     int `json:"at"`
	Need   int `json:"need"`
	Trials int `json:"trials"`
}

// CurveFit is the best fit with its standard errors, and the chance of passing the check.
type CurveFit struct {
	Start      float64
	Theta      float64
	StartError float64 `json:"start_error"`
	ThetaError float64 `json:"theta_error"`
	Chance     float64
}

// FitCurves fits learning curves with SciPy (which MetPy brings along), and returns its version for the source of an outside check. A missing library is
// treated as HeatIndex does.
func FitCurves(t testing.TB, cases []CurveCase) (fits []CurveFit, version string) {
	t.Helper()
	var answer struct {
		Version string
		Fits    []CurveFit
	}
	ask(t, curveScript, cases, &answer)
	require.Len(t, answer.Fits, len(cases))
	return answer.Fits, answer.Version
}
