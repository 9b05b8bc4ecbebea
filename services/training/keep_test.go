package training

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// sends delivers a queue.
func (s *school) sends(t require.TestingT, queue []*trainingv1.QueuedEntry) []*trainingv1.LogResult {
	got, err := s.LogSessions(context.Background(), &trainingv1.LogSessionsRequest{Entries: queue})
	require.NoError(t, err)
	require.Len(t, got.GetResults(), len(queue))
	return got.GetResults()
}

func TestAQueueHasAResultForEach(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	first := entry()
	fix := entry(func(e *trainingv1.Entry) { e.Successes = 1 })
	bad := entry(func(e *trainingv1.Entry) { e.SkillCode = "FLY" })
	results := s.sends(t, []*trainingv1.QueuedEntry{
		{Entry: first}, {Entry: bad}, {Entry: fix, ReplacesId: first.GetKey()}, {Entry: first}, {Entry: entry(), ReplacesId: first.GetKey()},
		{Entry: entry(), ReplacesId: "7"}, {}, {Entry: entry(func(e *trainingv1.Entry) { e.Trials = 2000 })},
	})
	var reasons []string
	for _, r := range results {
		require.NotEqual(t, r.GetSession() == nil, r.GetRefusal() == nil, "kept or refused, never both")
		reasons = append(reasons, r.GetRefusal().GetReason())
	}
	require.Equal(t, []string{"", "SKILL_UNKNOWN", "", "", "SESSION_CORRECTED", "INVALID_FIELD", "INVALID_FIELD", "SESSION_INVALID"}, reasons)
	require.Equal(t, bad.GetKey(), results[1].GetKey())
	require.Contains(t, results[1].GetRefusal().GetMessage(), "the skills are")
	require.Contains(t, results[7].GetRefusal().GetMessage(), "trials must be 0 to 1000")
	same(t, results[0].GetSession(), results[3].GetSession())
	require.Len(t, s.contents(t), 2)
}

// TestAQueueBreaksOffWhenItMayPass: what is a fault of the machine refuses no session; the queue is sent again.
func TestAQueueBreaksOffWhenItMayPass(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	known := s.known()
	calls, whole := 0, known.DogsByCode
	known.DogsByCode = func(ctx context.Context, db postgres.DB, codes []string) ([]DogRef, error) {
		if calls++; calls == 2 {
			return nil, errors.New("the cable was pulled")
		}
		return whole(ctx, db, codes)
	}
	s.Server = NewServer(Deps{Pool: s.pool, Now: s.clock, Caller: s.deps.Caller, Known: known})
	queue := []*trainingv1.QueuedEntry{{Entry: entry()}, {Entry: entry()}, {Entry: entry()}}
	_, err := s.LogSessions(t.Context(), &trainingv1.LogSessionsRequest{Entries: queue})
	require.ErrorContains(t, err, "cable")
	require.Len(t, s.contents(t), 1, "what came before is kept")
	for _, r := range s.sends(t, queue) {
		require.Nil(t, r.GetRefusal())
	}
	require.Len(t, s.contents(t), 3)
}

// TestSentAtOnce: many send the same session, and others several corrections of it, all at the same time.
func TestSentAtOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	const many = 12
	e := entry()
	answers := make([]*trainingv1.LogSessionResponse, many)
	errs := make([]error, many)
	var all sync.WaitGroup
	for i := range many {
		all.Go(func() {
			answers[i], errs[i] = s.LogSession(t.Context(), &trainingv1.LogSessionRequest{Entry: e})
		})
	}
	all.Wait()
	for i := range many {
		require.NoError(t, errs[i])
		same(t, answers[0], answers[i])
	}
	require.Len(t, s.contents(t), 1)

	corrections := []*trainingv1.Entry{entry(), entry(), entry()}
	won := make([]string, many)
	for i := range many {
		all.Go(func() {
			got, err := s.CorrectSession(t.Context(), &trainingv1.CorrectSessionRequest{SessionId: e.GetKey(), Entry: corrections[i%3]})
			if errs[i] = err; err == nil {
				won[i] = got.GetSession().GetId()
			}
		})
	}
	all.Wait()
	require.Len(t, s.contents(t), 2, "one correction of the three")
	ids := slices.Compact(slices.Sorted(slices.Values(slices.DeleteFunc(slices.Clone(won), func(id string) bool { return id == "" }))))
	require.Len(t, ids, 1, "each send of the one that won was answered")
	for i := range many {
		if won[i] == "" {
			refuses(t, errs[i], apperr.Conflict, "SESSION_CORRECTED", ids[0]+" counts now")
			require.NotEqual(t, ids[0], corrections[i%3].GetKey(), "a repeat of the one that won is no conflict")
		}
	}
}

// drawQueue makes sends: new sessions, corrections of earlier ones (also of corrected and of refused ones), repeats, keys used for
// something else, and sessions that cannot be.
func drawQueue(t *rapid.T) []*trainingv1.QueuedEntry {
	var queue []*trainingv1.QueuedEntry
	fresh := func() *trainingv1.Entry {
		return entry(func(e *trainingv1.Entry) {
			e.Trials = int32(rapid.IntRange(0, 20).Draw(t, "trials"))
			e.Successes = int32(rapid.IntRange(0, 21).Draw(t, "successes"))
			e.DogCode = rapid.SampledFrom([]string{"BO", "DOT", "REX"}).Draw(t, "dog")
		})
	}
	for range rapid.IntRange(1, 10).Draw(t, "sends") {
		kind := rapid.SampledFrom([]string{"new", "new", "correction", "correction", "repeat", "misuse"}).Draw(t, "kind")
		if len(queue) == 0 || kind == "new" {
			queue = append(queue, &trainingv1.QueuedEntry{Entry: fresh()})
			continue
		}
		earlier := rapid.SampledFrom(queue).Draw(t, "earlier")
		switch kind {
		case "correction":
			queue = append(queue, &trainingv1.QueuedEntry{Entry: fresh(), ReplacesId: earlier.GetEntry().GetKey()})
		case "repeat":
			queue = append(queue, earlier)
		case "misuse":
			other := fresh()
			other.Key = earlier.GetEntry().GetKey()
			queue = append(queue, &trainingv1.QueuedEntry{Entry: other, ReplacesId: earlier.GetReplacesId()})
		}
	}
	return queue
}

// TestReplaysChangeNothing: once a queue is in, delivering all of it again in any order, at any later time, changes no row, and
// each send gets the answer that it got before. A correction that came before what it corrects was refused as such, and comes in
// when the queue is sent again; so a queue is in when sending it again adds nothing. What was kept is answered alike from the first.
func TestReplaysChangeNothing(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	rapid.Check(t, func(t *rapid.T) {
		queue := drawQueue(t)
		first := s.sends(t, queue)
		var before []*trainingv1.LogResult
		rows := s.contents(t)
		for passes := 1; ; passes++ {
			before = s.sends(t, queue)
			now := s.contents(t)
			if slices.Equal(rows, now) {
				break
			}
			rows = now
			require.LessOrEqual(t, passes, len(queue))
		}
		for i, r := range first {
			if r.GetSession() != nil && !proto.Equal(r, before[i]) {
				t.Fatalf("send %d was answered %v, and then %v", i, r, before[i])
			}
		}
		s.at(s.clock().Add(1e9))
		order := rapid.Permutation(numbers(len(queue))).Draw(t, "order")
		for _, i := range order {
			again := s.sends(t, queue[i:i+1])[0]
			if !proto.Equal(before[i], again) {
				t.Fatalf("send %d was answered %v, and now %v", i, before[i], again)
			}
		}
		require.Equal(t, rows, s.contents(t))
	})
	s.everyChainIsALine(t)
}

// TestAnyOrderEndsAlike: a queue of sessions and corrections, none of which stands in another's way, is delivered in a random order
// until everything is in, as by a device whose calls overtake each other. What counts in the end is what counts in order.
func TestAnyOrderEndsAlike(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	rapid.Check(t, func(t *rapid.T) {
		var queue []*trainingv1.QueuedEntry
		open := []string{}
		for range rapid.IntRange(1, 8).Draw(t, "sends") {
			q := &trainingv1.QueuedEntry{Entry: entry()}
			if len(open) > 0 && rapid.Bool().Draw(t, "correction") {
				i := rapid.IntRange(0, len(open)-1).Draw(t, "of")
				q.ReplacesId, open[i] = open[i], q.Entry.GetKey()
			} else {
				open = append(open, q.Entry.GetKey())
			}
			queue = append(queue, q)
		}
		waiting := rapid.Permutation(queue).Draw(t, "order")
		for range queue {
			var again []*trainingv1.QueuedEntry
			for i, r := range s.sends(t, waiting) {
				if r.GetRefusal() != nil {
					require.Equal(t, "SESSION_UNKNOWN", r.GetRefusal().GetReason())
					again = append(again, waiting[i])
				}
			}
			if waiting = again; len(waiting) == 0 {
				break
			}
		}
		require.Empty(t, waiting)
		for _, key := range open {
			chain, err := listChain(context.Background(), s.pool, ids.MustParse[ids.SessionID](key))
			require.NoError(t, err)
			require.Equal(t, key, chain[0].ID.String(), "the last of its line counts")
		}
		var all []ids.SessionID
		for _, q := range queue {
			all = append(all, ids.MustParse[ids.SessionID](q.GetEntry().GetKey()))
		}
		kept, err := listSessionsByID(context.Background(), s.pool, all)
		require.NoError(t, err)
		require.Len(t, kept, len(queue))
	})
	s.everyChainIsALine(t)
}

// numbers are 0 to n-1.
func numbers(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// everyChainIsALine: each session is replaced by one other at most, leads back to a first one, and has one that counts.
func (s *school) everyChainIsALine(t testing.TB) {
	t.Helper()
	all, err := listAllSessions(t.Context(), s.pool)
	require.NoError(t, err)
	require.NotEmpty(t, all)
	next, firsts, counting := map[ids.SessionID]ids.SessionID{}, 0, 0
	for _, k := range all {
		if k.Replaces.IsZero() {
			firsts++
		} else {
			require.NotContains(t, next, k.Replaces)
			next[k.Replaces] = k.ID
		}
		if k.ReplacedBy.IsZero() {
			counting++
		}
	}
	require.Equal(t, firsts, counting)
	reached := 0
	for _, k := range all {
		if k.Replaces.IsZero() {
			for id, ok := k.ID, true; ok; id, ok = next[id] {
				reached++
			}
		}
	}
	require.Equal(t, len(all), reached)
}

// TestTheDatabaseKeepsTheRules, whatever the code does.
func TestTheDatabaseKeepsTheRules(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	first := s.logs(t, entry())
	s.corrects(t, first.GetId(), entry())
	for constraint, set := range map[string]string{
		"session_successes_check": "successes = 11", "session_trials_check": "trials = 1001", "session_hold_check": "hold_seconds = -1",
		"session_distance_check": "distance_cm = 50001", "session_distraction_check": "distraction = 4", "session_settled_check": "settled = 4",
		"session_note_check": "note = repeat('x', 501)", "session_replaces_check": "replaces_id = id",
	} {
		_, err := s.pool.Exec(t.Context(), fmt.Sprintf(`update training.session set %s where id = $1`, set), first.GetId())
		name, _ := postgres.Constraint(err)
		require.Equal(t, constraint, name)
	}
	_, err := s.pool.Exec(t.Context(), `
		insert into training.session select $2, dog_id, trainer_id, skill_id, trained_at, arrived_at, day, trials, successes, hold_seconds,
		  distance_cm, distraction, settled, note, logged_by, $1 from training.session where id = $1`, first.GetId(), uuid.New())
	name, _ := postgres.Constraint(err)
	require.Equal(t, "session_replaces_key", name)
	_, err = s.pool.Exec(t.Context(), `delete from training.session where id = $1`, first.GetId())
	name, _ = postgres.Constraint(err)
	require.Equal(t, "session_replaces_fkey", name, "what was corrected cannot go")
}
