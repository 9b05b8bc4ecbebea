package graduation

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
)

// TestNobodyMeetsAnArrivalAtTheGate: at the first gate, and there alone, a handover neither begins nor ends with an arrival.
func TestNobodyMeetsAnArrivalAtTheGate(t *testing.T) {
	t.Parallel()
	site := facility.Site{ID: ids.SiteID(uuid.New())}
	at := func(hour, minute int) time.Time { return time.Date(2027, 3, 4, hour, minute, 0, 0, time.UTC) }
	arrival := dayplan.Held{SiteID: site.ID, Kind: dayplan.KindIntake, From: at(10, 0), To: at(10, 45)}
	session, elsewhere := arrival, arrival
	session.Kind, elsewhere.SiteID = dayplan.KindSession, ids.SiteID(uuid.New())
	for name, tt := range map[string]struct {
		held  dayplan.Held
		gate  string
		begin time.Time
		end   time.Time
		meets bool
	}{
		"both begin":             {arrival, "front", at(10, 0), at(11, 30), true},
		"begins just before":     {arrival, "front", at(9, 46), at(11, 16), true},
		"begins at the distance": {arrival, "front", at(9, 45), at(11, 15), false},
		"both end":               {arrival, "front", at(9, 15), at(10, 45), true},
		"ends just after":        {arrival, "front", at(9, 29), at(10, 59), true},
		"another gate":           {arrival, "back", at(10, 0), at(11, 30), false},
		"a session":              {session, "front", at(10, 0), at(11, 30), false},
		"another site":           {elsewhere, "front", at(10, 0), at(11, 30), false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := inputs{site: site, setting: handover.Setting{Gates: []string{"front", "back"}, GateMinutes: 15}, held: []held{{Held: tt.held}}}
			require.Equal(t, tt.meets, in.meetsArrival(handover.Appointment{SiteID: site.ID, Slot: handover.Slot{Gate: tt.gate, Begins: tt.begin, Ends: tt.end}}))
		})
	}
}
