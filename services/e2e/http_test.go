package e2e_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/testdata/scenario"
)

// planJSON is what this client reads of a plan. JSON has no 64-bit numbers, so they come as text.
type planJSON struct {
	ID               string
	State            string
	Value, Bound     json.Number
	Placed, Requests int
}

// send calls the server and returns its answer; the test reads its body.
func (s school) send(t *testing.T, method, path, body string) *http.Response {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, s.http+path, strings.NewReader(body))
	require.NoError(t, err)
	token := s.token
	if token == "" {
		token = secret
	}
	req.Header.Set("Authorization", "Bearer "+token)
	res, err := s.client.Do(req)
	require.NoError(t, err)
	t.Cleanup(func() { _ = res.Body.Close() })
	return res
}

// ask calls the server and reads the answer into reply.
func (s school) ask(t *testing.T, method, path, body string, code int, reply any) {
	t.Helper()
	res := s.send(t, method, path, body)
	require.Equal(t, code, res.StatusCode, path)
	require.Equal(t, "application/json", res.Header.Get("Content-Type"))
	require.NotEmpty(t, res.Header.Get("X-Request-Id"))
	require.NoError(t, json.NewDecoder(res.Body).Decode(reply))
}

func number(t *testing.T, n json.Number) int64 {
	t.Helper()
	v, err := n.Int64()
	require.NoError(t, err)
	return v
}

func TestAStrangerPlansAMonthOverHTTP(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	var started struct{ Plan planJSON }
	s.ask(t, "POST", "/v1/plans", fmt.Sprintf(`{"month": %q, "seconds": 120, "iterations": 300}`, scenario.Month), 200, &started)
	require.Equal(t, "PLAN_STATE_DRAFTING", started.Plan.State)
	path := "/v1/plans/" + started.Plan.ID

	last := s.watch(t, path+"/progress")
	require.Equal(t, "PLAN_STATE_DRAFT", last.State)

	var plan struct {
		Plan       planJSON
		Placements []struct {
			RequestCode string `json:"request_code"`
			SiteCode    string `json:"site_code"`
		}
		Waits []struct{ Reason string }
		Uses  []struct{ Day string }
	}
	s.ask(t, "GET", path+"?with_uses=true", "", 200, &plan)
	require.NotEmpty(t, plan.Placements)
	require.NotEmpty(t, plan.Placements[0].RequestCode)
	require.NotEmpty(t, plan.Uses)
	require.Len(t, plan.Placements, plan.Plan.Placed)
	require.Equal(t, plan.Plan.Requests, len(plan.Placements)+len(plan.Waits))
	require.LessOrEqual(t, number(t, plan.Plan.Value), number(t, plan.Plan.Bound))

	var published struct {
		Plan  planJSON
		New   int `json:"new_stays"`
		Kept  int `json:"kept_stays"`
		Moved int `json:"moved_stays"`
	}
	s.ask(t, "POST", path+"/publish", `{}`, 200, &published)
	require.Equal(t, "PLAN_STATE_PUBLISHED", published.Plan.State)
	require.Equal(t, plan.Plan.Placed, published.New+published.Kept+published.Moved)

	var refused struct {
		Code    int
		Message string
		Details []struct{ Reason string }
	}
	s.ask(t, "POST", path+"/publish", `{}`, 400, &refused)
	require.Equal(t, 9, refused.Code, "gRPC's number of FAILED_PRECONDITION")
	require.NotEmpty(t, refused.Details[0].Reason)
}

// watch reads the progress of a draft, one JSON object a line, and returns the last plan.
func (s school) watch(t *testing.T, path string) planJSON {
	t.Helper()
	res := s.send(t, "GET", path, "")
	require.Equal(t, 200, res.StatusCode)
	var last planJSON
	lines := bufio.NewScanner(res.Body)
	for lines.Scan() {
		var item struct {
			Result struct{ Plan planJSON }
			Error  json.RawMessage
		}
		require.NoError(t, json.Unmarshal(lines.Bytes(), &item), lines.Text())
		require.Empty(t, item.Error)
		last = item.Result.Plan
	}
	require.NoError(t, lines.Err())
	return last
}
