package handover

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
)

func at(starts string) *handoverv1.Time { return &handoverv1.Time{Starts: starts} }

// TestTheOfficeTakesADogHome goes through the calls of the office, from the offer to a lesson.
func TestTheOfficeTakesADogHome(t *testing.T) {
	t.Parallel()
	s, ctx := newSchool(t), t.Context()
	_, err := s.ReadHandover(ctx, &handoverv1.ReadHandoverRequest{Which: "BO"})
	refuses(t, err, apperr.NotFound, "HANDOVER_UNKNOWN", "longlead handover offer BO --at TIME")
	offered, err := s.OfferHandover(ctx, &handoverv1.OfferHandoverRequest{Which: "BO", Time: at("2027-03-20 10:00"), Others: []*handoverv1.Time{at("2027-03-20T13:00")}, Reason: "as wished"})
	require.NoError(t, err)
	a := offered.GetAppointment()
	require.Equal(t, []string{"handover", "R-BO", "BO", "bo", "HILL", "America/Denver", "offered"},
		[]string{a.GetPurpose(), a.GetRequestCode(), a.GetDogCode(), a.GetDogName(), a.GetSiteCode(), a.GetZone(), a.GetState()})
	require.Equal(t, []string{"2027-03-20 10:00", "2027-03-20 11:30", "ANA", "", "main gate"},
		[]string{a.GetSlot().GetStarts(), a.GetSlot().GetEnds(), a.GetSlot().GetTrainerCode(), a.GetSlot().GetAreaCode(), a.GetSlot().GetGate()})
	require.Len(t, offered.GetOffers(), 1)
	_, err = s.OfferHandover(ctx, &handoverv1.OfferHandoverRequest{Which: "R-BO", Time: at("2027-03-20 10:00")})
	refuses(t, err, apperr.Precondition, "HANDOVER_OPEN", "move it")
	offered, err = s.OfferHandover(ctx, &handoverv1.OfferHandoverRequest{Which: a.GetId(), Others: []*handoverv1.Time{{Starts: "2027-03-20 15:00", TrainerCode: "BEN", AreaCode: "YARD", Minutes: 60}}})
	require.NoError(t, err)
	require.Len(t, offered.GetOffers(), 2)
	require.Equal(t, "2027-03-20 16:00", offered.GetOffers()[1].GetEnds())

	confirmed, err := s.ConfirmHandover(ctx, &handoverv1.ConfirmHandoverRequest{Which: "BO"})
	require.NoError(t, err)
	require.Equal(t, "confirmed", confirmed.GetAppointment().GetState())
	moved, err := s.MoveHandover(ctx, &handoverv1.MoveHandoverRequest{Which: "BO", Time: &handoverv1.Time{Starts: "2027-03-21 09:00", AreaCode: "QUIET"}, NotReady: true, Reason: "needs a day"})
	require.NoError(t, err)
	require.Equal(t, []string{"offered", "2027-03-21 10:30", "QUIET"}, []string{moved.GetAppointment().GetState(), moved.GetAppointment().GetSlot().GetEnds(), moved.GetAppointment().GetSlot().GetAreaCode()})
	_, err = s.OfferHandover(ctx, &handoverv1.OfferHandoverRequest{Which: "DOT", Time: at("2027-03-21 10:45")})
	require.NoError(t, err)
	late, err := s.ReportLate(ctx, &handoverv1.ReportLateRequest{Which: "BO", Minutes: 25, Reason: "snow"})
	require.NoError(t, err)
	require.Equal(t, int32(25), late.GetAppointment().GetLateMinutes())
	require.Len(t, late.GetRunsInto(), 1)
	require.Equal(t, "DOT", late.GetRunsInto()[0].GetDogCode())

	s.at(slotAt(t, "2027-03-21", "11:00").Begins)
	missed, err := s.ReportMissed(ctx, &handoverv1.ReportMissedRequest{Which: "BO", Next: []*handoverv1.Time{at("2027-03-22 09:00"), at("2027-03-22 14:00")}})
	require.NoError(t, err)
	require.Equal(t, "missed", missed.GetAppointment().GetState())
	require.Len(t, missed.GetOffers(), 2)
	_, err = s.MoveHandover(ctx, &handoverv1.MoveHandoverRequest{Which: "BO", Time: at("2027-03-22 09:00")})
	require.NoError(t, err)
	s.at(slotAt(t, "2027-03-22", "10:30").Begins)
	held, err := s.ReportHeld(ctx, &handoverv1.ReportHeldRequest{Which: "BO", Lessons: []*handoverv1.Time{at("2027-04-05 16:00"), at("2027-04-19 16:00")}})
	require.NoError(t, err)
	require.Equal(t, "held", held.GetAppointment().GetState())
	require.Len(t, held.GetLessons(), 2)
	require.Equal(t, []string{"lesson", "confirmed", "2027-04-05 16:45"}, []string{held.GetLessons()[0].GetPurpose(), held.GetLessons()[0].GetState(), held.GetLessons()[0].GetSlot().GetEnds()})
	lesson, err := s.BookLesson(ctx, &handoverv1.BookLessonRequest{Which: "BO", Time: at("2027-05-03 16:00")})
	require.NoError(t, err)
	_, err = s.CancelHandover(ctx, &handoverv1.CancelHandoverRequest{Which: lesson.GetLesson().GetId(), Reason: "moved away"})
	require.NoError(t, err)

	all, err := s.ReadHandover(ctx, &handoverv1.ReadHandoverRequest{Which: "BO"})
	require.NoError(t, err)
	var acts []string
	for _, c := range all.GetChanges() {
		acts = append(acts, c.GetAct())
		require.Equal(t, "office", c.GetChangedBy())
	}
	require.Equal(t, []string{"placed", "offers", "confirmed", "not ready", "late", "missed", "moved", "held"}, acts)
	require.Len(t, all.GetLessons(), 3)
	list, err := s.ListHandovers(ctx, &handoverv1.ListHandoversRequest{SiteCode: "HILL", FirstDay: "2027-03-20", LastDay: "2027-04-30"})
	require.NoError(t, err)
	require.Len(t, list.GetAppointments(), 3, "DOT's handover and two lessons")
	list, err = s.ListHandovers(ctx, &handoverv1.ListHandoversRequest{SiteCode: "HILL", FirstDay: "2027-03-22", LastDay: "2027-03-22", WithEnded: true})
	require.NoError(t, err)
	require.Len(t, list.GetAppointments(), 1)
}

// TestLinksOfTheOffice: a link is told once, opens the page, and is shut with all others.
func TestLinksOfTheOffice(t *testing.T) {
	t.Parallel()
	s, ctx := newSchool(t), t.Context()
	_, invited := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"))
	made, err := s.MakeLink(ctx, &handoverv1.MakeLinkRequest{Which: "BO"})
	require.NoError(t, err)
	token, ok := strings.CutPrefix(made.GetUrl(), "https://dogs.example.com/handover/")
	require.True(t, ok)
	require.Regexp(t, `^[a-z2-7]{52}$`, token, "256 bits")
	require.NotEqual(t, invited, token)
	require.Equal(t, slotAt(t, "2027-03-20", "11:30").Begins.Add(30*24*time.Hour), made.GetLink().GetExpiresAt().AsTime())
	require.Equal(t, 200, s.send(t, "GET", LinkPath(token), nil, nil).Code)
	require.Equal(t, 200, s.send(t, "GET", LinkPath(invited), nil, nil).Code)
	shut, err := s.ShutLinks(ctx, &handoverv1.ShutLinksRequest{Which: "BO"})
	require.NoError(t, err)
	require.Len(t, shut.GetLinks(), 2)
	for _, l := range shut.GetLinks() {
		require.Equal(t, "office", l.GetShutBy())
	}
	require.Equal(t, 404, s.send(t, "GET", LinkPath(token), nil, nil).Code)
	require.Equal(t, 404, s.send(t, "GET", LinkPath(invited), nil, nil).Code)
}

// TestCallsThatCannotBe: each has words that say what to do, and changes nothing.
func TestCallsThatCannotBe(t *testing.T) {
	t.Parallel()
	s, ctx := newSchool(t), t.Context()
	a, _ := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"))
	before := s.contents(t)
	offer := func(which string, time *handoverv1.Time, others ...*handoverv1.Time) error {
		_, err := s.OfferHandover(ctx, &handoverv1.OfferHandoverRequest{Which: which, Time: time, Others: others})
		return err
	}
	for _, c := range []struct {
		name   string
		err    error
		kind   apperr.Kind
		reason string
		says   string
	}{
		{"no dog", offer("NONE", at("2027-03-20 13:00")), apperr.NotFound, "STAY_UNKNOWN", "NONE"},
		{"no appointment", offer("0193a5c0-7b1e-7cc1-9d2f-3a4b5c6d7e8f", at("2027-03-20 13:00")), apperr.NotFound, "APPOINTMENT_UNKNOWN", "handover list"},
		{"no time", offer("DOT", nil), apperr.Invalid, "INVALID_FIELD", "time"},
		{"others alone", offer("DOT", nil, at("2027-03-20 13:00")), apperr.Invalid, "INVALID_FIELD", "there is no appointment yet"},
		{"no clock", offer("DOT", at("2027-03-20")), apperr.Invalid, "INVALID_FIELD", "2027-03-20 10:00"},
		{"no day", offer("DOT", at("2027-02-30 10:00")), apperr.Invalid, "INVALID_FIELD", "time.starts"},
		{"no such time", offer("DOT", at("2027-03-20 24:00")), apperr.Invalid, "INVALID_FIELD", "time.starts"},
		{"a time that clocks skip", offer("DOT", at("2027-03-14 02:30")), apperr.Invalid, "INVALID_FIELD", "jump ahead"},
		{"too short", offer("DOT", &handoverv1.Time{Starts: "2027-03-20 13:00", Minutes: 59}), apperr.Invalid, "INVALID_FIELD", "must be 60 to 120"},
		{"no trainer", offer("DOT", &handoverv1.Time{Starts: "2027-03-20 13:00", TrainerCode: "EVE"}), apperr.NotFound, "TRAINER_UNKNOWN", "EVE"},
		{"no area", offer("DOT", at("2027-03-20 13:00"), &handoverv1.Time{Starts: "2027-03-20 13:00", AreaCode: "POND"}), apperr.NotFound, "AREA_UNKNOWN", "POND"},
		{"no gate", offer("DOT", &handoverv1.Time{Starts: "2027-03-20 13:00", Gate: "back door"}), apperr.Invalid, "INVALID_FIELD", "use one of: main gate"},
		{"taken", offer("DOT", at("2027-03-20 11:00")), apperr.Conflict, "TIME_TAKEN", "the trainer has another appointment then"},
	} {
		refuses(t, c.err, c.kind, c.reason, c.says)
		require.Equal(t, before, s.contents(t), c.name)
	}
	_, err := s.ListHandovers(ctx, &handoverv1.ListHandoversRequest{SiteCode: "MOON", FirstDay: "2027-03-20", LastDay: "2027-03-20"})
	refuses(t, err, apperr.NotFound, "SITE_UNKNOWN", "MOON")
	_, err = s.ReportMissed(ctx, &handoverv1.ReportMissedRequest{Which: a.ID.String()})
	refuses(t, err, apperr.Precondition, "APPOINTMENT_TO_COME", "has not begun")
	require.Equal(t, before, s.contents(t))
}

// TestTheDatabaseKeepsItsRules: whatever the code does, two rows that may not be beside each other are refused.
func TestTheDatabaseKeepsItsRules(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	a, _ := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"))
	for _, c := range []struct {
		name   string
		change func(*Appointment)
		reason string
	}{
		{"trainer", func(x *Appointment) { x.DogID = s.stays["DOT"].DogID }, "TIME_TAKEN"},
		{"dog", func(x *Appointment) { x.TrainerID = ben.ID }, "TIME_TAKEN"},
		{"stay", func(x *Appointment) {
			x.RequestID, x.Begins, x.Ends = s.stays["DOT"].RequestID, x.Begins.Add(3*time.Hour), x.Ends.Add(3*time.Hour)
		}, "HANDOVER_OPEN"},
		{"request", func(x *Appointment) {
			x.StayID, x.Begins, x.Ends = s.stays["DOT"].ID, x.Begins.Add(3*time.Hour), x.Ends.Add(3*time.Hour)
		}, "HANDOVER_OPEN"},
		{"length", func(x *Appointment) { x.Begins = x.Begins.Add(80 * time.Minute) }, "TIME_LENGTH"},
	} {
		_, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
			x := a
			x.ID = ids.AppointmentID(uuid.New())
			if c.name != "stay" && c.name != "request" {
				x.StayID, x.RequestID = s.stays["EMU"].ID, s.stays["EMU"].RequestID
			}
			c.change(&x)
			return x, insertAppointment(t.Context(), tx, x)
		})
		require.Equal(t, c.reason, apperr.ReasonOf(err), "%s: %v", c.name, err)
	}
}

// TestSettingsInAndOut: what a file says comes out as it went in, and is what holds at the site.
func TestSettingsInAndOut(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	port := Ports(s.known())[0]
	require.NoError(t, port.Kind.Check())
	put := func(cells string) ([]records.Wrong, error) {
		header := make([]string, len(port.Kind.Columns))
		for i, c := range port.Kind.Columns {
			header[i] = c.Name
		}
		table, err := sheet.Read("handover-settings.csv", []byte(strings.Join(header, ",")+"\n"+cells+"\n"), port.Kind, sheet.Options{})
		require.NoError(t, err)
		require.Empty(t, table.Faults)
		return in(t, s, func(tx postgres.Tx) ([]records.Wrong, error) {
			row := records.NewRow(table.Rows[0], map[string]uuid.UUID{"site": siteRef.ID.UUID(), "area": quiet.ID.UUID()})
			if wrong := port.Check(row); len(wrong) > 0 {
				return wrong, nil
			}
			return port.Put(t.Context(), tx, records.Intake{}, []records.Row{row})
		})
	}
	row := `HILL,QUIET,south gate|north gate,15,75,30,08:30,16:45,48,555-0100,17 Mill Lane,All of you,a lead|a crate,other dogs,our own`
	for range 2 {
		wrong, err := put(row)
		require.NoError(t, err)
		require.Empty(t, wrong)
	}
	out, err := port.List(t.Context(), s.pool)
	require.NoError(t, err)
	require.Equal(t, [][]string{strings.Split(row, ",")}, out)
	wrong, err := put(`HILL,QUIET,south gate,15,75,30,17:00,16:45,48,,,,,,`)
	require.NoError(t, err)
	require.Len(t, wrong, 1)
	require.Equal(t, "last_end", wrong[0].Column)
	offered, err := s.OfferHandover(t.Context(), &handoverv1.OfferHandoverRequest{Which: "BO", Time: at("2027-03-20 10:00")})
	require.NoError(t, err)
	require.Equal(t, []string{"2027-03-20 11:15", "QUIET", "south gate"},
		[]string{offered.GetAppointment().GetSlot().GetEnds(), offered.GetAppointment().GetSlot().GetAreaCode(), offered.GetAppointment().GetSlot().GetGate()})
	bare, err := ReadSetting(t.Context(), s.pool, ids.SiteID(testID(77)))
	require.NoError(t, err)
	require.Equal(t, Defaults(ids.SiteID(testID(77))), bare)
	require.True(t, slices.Contains(bare.LeaveHome, "other dogs"))
}
