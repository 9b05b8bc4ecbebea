package handover

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/apperr"
)

// acts are all acts of the table, in its order.
var acts = []Act{ActPlaced, ActBooked, ActMoved, ActNotReady, ActChosen, ActConfirmed, ActAsked, ActLate, ActMissed, ActHeld, ActCancelled, ActOffers}

// TestTheTableIsWhatIsDone holds the table that people read, in the package comment, against the one that is worked by.
func TestTheTableIsWhatIsDone(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("handover.go")
	require.NoError(t, err)
	row := regexp.MustCompile(`(?m)^//\t(\w+(?: ready)?) {2,}(\S+(?: \S+)*?) {2,}(\S+(?: \S+)*?) {2,}\S`)
	var read []Act
	for _, m := range row.FindAllStringSubmatch(string(text), -1) {
		if m[1] == "act" {
			continue
		}
		act := Act(m[1])
		read = append(read, act)
		var from []State
		for _, word := range strings.Fields(strings.ReplaceAll(m[2], "-", "")) {
			from = append(from, State(word))
		}
		if m[2] == "-" {
			from = []State{""}
		}
		require.Equal(t, steps[act].from, from, act)
		require.Equal(t, strings.ReplaceAll(m[3], "as it was", ""), string(steps[act].to), act)
	}
	require.Equal(t, acts, read)
	require.Len(t, steps, len(acts))
}

// TestEveryActInEveryState: an act leads where the table says, or is refused with words and changes nothing.
func TestEveryActInEveryState(t *testing.T) {
	t.Parallel()
	begins := testNow.Add(time.Hour)
	for _, from := range append([]State{""}, States...) {
		for _, act := range acts {
			for _, now := range []time.Time{testNow, begins, begins.Add(time.Hour)} {
				before := Appointment{State: from, Version: 3, Revision: 5, Slot: Slot{Begins: begins, Ends: begins.Add(time.Hour)}, Wish: "later", LateMinutes: 9}
				asked := before
				asked.ChangedAt = now
				after, err := apply(before, asked, act)
				early := steps[act].after && now.Before(begins)
				if !slices.Contains(steps[act].from, from) || early {
					require.ErrorIs(t, err, apperr.Precondition, "%s from %q", act, from)
					require.Equal(t, before, after)
					require.NotContains(t, err.Error(), "  ")
					require.NotContains(t, err.Error(), "cannot be .")
					continue
				}
				require.NoError(t, err, "%s from %q", act, from)
				require.Equal(t, 6, after.Revision)
				noticed := slices.Contains([]Act{ActPlaced, ActBooked, ActMoved, ActNotReady, ActChosen, ActMissed, ActCancelled}, act) || act == ActOffers && (from == Asked || from == Missed)
				require.Equal(t, noticed, after.Version == 4, "%s from %q", act, from)
				require.Equal(t, !noticed, after.Version == 3)
				require.Equal(t, after.State == Asked, after.Wish != "")
				require.Equal(t, after.State == Late, after.LateMinutes != 0)
			}
		}
	}
}

// TestAnyWayThroughTheTable takes acts at random: the version never falls, ends are ends, and each state but the first is reached.
func TestAnyWayThroughTheTable(t *testing.T) {
	t.Parallel()
	reached := map[State]bool{}
	rapid.Check(t, func(r *rapid.T) {
		a := Appointment{}
		now := testNow
		for range rapid.IntRange(1, 25).Draw(r, "acts") {
			act := rapid.SampledFrom(acts).Draw(r, "act")
			now = now.Add(time.Duration(rapid.IntRange(0, 40).Draw(r, "minutes")) * time.Minute)
			asked := a
			asked.ChangedAt = now
			if act == ActPlaced || act == ActBooked || act == ActMoved || act == ActNotReady || act == ActChosen {
				asked.Begins = now.Add(time.Duration(rapid.IntRange(0, 60).Draw(r, "ahead")) * time.Minute)
			}
			before := a
			after, err := apply(before, asked, act)
			if err != nil {
				continue
			}
			if before.State == Held || before.State == Cancelled {
				r.Fatalf("%s led out of %s", act, before.State)
			}
			if after.Revision != before.Revision+1 || after.Version < before.Version || after.Version > before.Version+1 || after.Version > after.Revision {
				r.Fatalf("%s: version %d to %d, revision %d to %d", act, before.Version, after.Version, before.Revision, after.Revision)
			}
			if !after.Slot.same(before.Slot) && after.Version == before.Version {
				r.Fatalf("%s moved it and told nobody", act)
			}
			if after.State.Live() && !after.State.Open() || after.State.Open() == (after.State == Held || after.State == Cancelled) {
				r.Fatalf("%s is neither open nor an end", after.State)
			}
			a = after
			reached[a.State] = true
		}
	})
	for _, s := range States {
		require.True(t, reached[s], s)
	}
}
