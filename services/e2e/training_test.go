package e2e_test

import (
	"fmt"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// sessionJSON is what this client reads of a session.
type sessionJSON struct {
	ID         string
	Trainer    string `json:"trainer_code"`
	Day        string
	LoggedBy   string `json:"logged_by"`
	Replaces   string `json:"replaces_id"`
	ReplacedBy string `json:"replaced_by_id"`
	Successes  int
	Settled    *int
}

// TestAStrangerLogsOverGRPC logs, repeats, contradicts and corrects with messages built from what the server says of itself.
func TestAStrangerLogsOverGRPC(t *testing.T) {
	t.Parallel()
	client := meet(t, newSchool(t).grpc)
	require.Contains(t, client.services(t), "longlead.training.v1.TrainingService")
	training := client.learn(t, "longlead.training.v1.TrainingService")
	entry := func(key string, successes int) string {
		return fmt.Sprintf(`"entry": {"key": %q, "dog_code": "D-002", "trainer_code": "AMINA", "skill_code": "HEEL", "trained_at": "2027-02-18T15:00:00Z",
			"trials": 10, "successes": %d}`, key, successes)
	}
	key, fix := uuid.NewString(), uuid.NewString()
	first, err := client.call(t.Context(), training, "LogSession", "{"+entry(key, 8)+"}")
	require.NoError(t, err)
	again, err := client.call(t.Context(), training, "LogSession", "{"+entry(key, 8)+"}")
	require.NoError(t, err)
	require.True(t, proto.Equal(first[0], again[0]))
	_, err = client.call(t.Context(), training, "LogSession", "{"+entry(key, 9)+"}")
	require.Equal(t, codes.AlreadyExists, status.Code(err), "%v", err)
	_, err = client.call(t.Context(), training, "LogSession", "{}")
	require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)

	list := func(request string) int {
		replies, err := client.call(t.Context(), training, "ListSessions", request)
		require.NoError(t, err)
		return at(replies[0], "sessions").List().Len()
	}
	before := list(`{"dog_code": "D-002"}`)
	_, err = client.call(t.Context(), training, "CorrectSession", fmt.Sprintf(`{"session_id": %q, %s}`, key, entry(fix, 9)))
	require.NoError(t, err)
	require.Equal(t, before, list(`{"dog_code": "D-002"}`), "a correction is no further session")
	require.Equal(t, before+1, list(`{"dog_code": "D-002", "with_history": true}`))
}

// TestWhoMayLog: a trainer, for itself without naming a trainer, and the manager; the office and a viewer may not.
func TestWhoMayLog(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	body := func(key, trainer string) string {
		return fmt.Sprintf(`{"entry": {"key": %q, "dog_code": "D-100", "trainer_code": %q, "skill_code": "COME", "trained_at": "2027-02-21T15:00:00Z", "trials": 5, "successes": 3, "settled": 0}}`, key, trainer)
	}
	for _, caller := range []string{"front", "guest"} {
		var refused struct{ Message string }
		s.as(caller).ask(t, "POST", "/v1/sessions", body(uuid.NewString(), "AMINA"), 403, &refused)
		require.Contains(t, refused.Message, "the permission to log sessions")
		s.as(caller).ask(t, "POST", "/v1/sessions/queue", `{"entries": [{}]}`, 403, &refused)
	}
	var got struct{ Session sessionJSON }
	key := uuid.NewString()
	s.as("AMINA").ask(t, "POST", "/v1/sessions", body(key, ""), 200, &got)
	require.Equal(t, sessionJSON{ID: key, Trainer: "AMINA", Day: "2027-02-21", LoggedBy: "AMINA", Successes: 3, Settled: new(int)}, got.Session)
	fix := uuid.NewString()
	s.ask(t, "POST", "/v1/sessions/"+key+"/corrections", body(fix, "NOOR"), 200, &got)
	require.Equal(t, key, got.Session.Replaces)
	require.Equal(t, "manager", got.Session.LoggedBy)

	var chain struct{ Sessions []sessionJSON }
	s.as("guest").ask(t, "GET", "/v1/sessions/"+key, "", 200, &chain)
	require.Len(t, chain.Sessions, 2)
	require.Equal(t, fix, chain.Sessions[1].ReplacedBy)
	s.as("guest").ask(t, "GET", "/v1/dogs/D-100/sessions", "", 200, &chain)
	require.Len(t, chain.Sessions, 1)

	var queue struct {
		Results []struct {
			Key     string
			Session *sessionJSON
			Refusal *struct{ Reason string }
		}
	}
	queued := uuid.NewString()
	s.as("AMINA").ask(t, "POST", "/v1/sessions/queue", fmt.Sprintf(`{"entries": [%s, {"entry": {"key": %q}}]}`, body(queued, ""), uuid.NewString()), 200, &queue)
	require.Len(t, queue.Results, 2)
	require.Equal(t, queued, queue.Results[0].Session.ID)
	require.Equal(t, "INVALID_FIELD", queue.Results[1].Refusal.Reason)

	var ladder struct {
		Skills []struct {
			Code   string
			Target *struct {
				Hold int `json:"hold_seconds"`
			}
		}
	}
	s.as("guest").ask(t, "GET", "/v1/skills?program_code=HOME21", "", 200, &ladder)
	require.Len(t, ladder.Skills, 6)
	require.Equal(t, "HEEL", ladder.Skills[0].Code)
	require.Equal(t, 120, ladder.Skills[2].Target.Hold)
	require.Nil(t, ladder.Skills[5].Target, "nothing is asked of it")
}
