package graduation

import (
	"context"
	"slices"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// KindOwnerTimes is the name of the kind of record that this package keeps.
const KindOwnerTimes = "owner-times"

// weekdays are those of a list: any, and the seven from Monday on.
var weekdays = []string{"any", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}

// Ports returns the ways in and out of this package's records.
func Ports() []records.Port {
	return []records.Port{{
		Kind: sheet.Kind{Name: KindOwnerTimes, About: "When owners can come to a handover; who has no row is taken to have time all day", Key: []string{"request", "weekday", "starts"}, Columns: []sheet.Column{
			{Name: "request", Form: sheet.FormCode, Required: true, Refers: "requests", Example: "M-001", About: "code of the request"},
			{Name: "weekday", Form: sheet.FormChoice, OneOf: weekdays, Required: true, Example: "saturday", About: "day of the week, or any"},
			{Name: "starts", Form: sheet.FormClock, Required: true, Example: "10:00", About: "local time of the site from which the owner can be there"},
			{Name: "ends", Form: sheet.FormClock, Required: true, Example: "16:00", About: "local time by which the owner has to leave"},
			{Name: "liked", Form: sheet.FormYesNo, Required: true, Example: "yes", About: "whether the time suits best"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) (wrong []records.Wrong, err error) {
			times := make([]OwnerTime, 0, len(rows))
			for _, row := range rows {
				t := OwnerTime{RequestID: ids.RequestID(row.Ref("request")), Weekday: slices.Index(weekdays, row.Text("weekday")), Starts: row.Clock("starts"),
					Ends: row.Clock("ends"), Liked: row.Yes("liked")}
				if t.Ends <= t.Starts {
					wrong = append(wrong, row.Wrong("ends", "is not after the start", "write a later time of the same day"))
					continue
				}
				times = append(times, t)
			}
			return wrong, putOwnerTimes(ctx, tx, times)
		},
		List: listOwnerTimeRows,
	}}
}

// listOwnerTimeRows lists when owners can come, by the codes of their requests.
func listOwnerTimeRows(ctx context.Context, db postgres.DB) ([][]string, error) {
	times, err := listAllOwnerTimes(ctx, db)
	if err != nil {
		return nil, err
	}
	codes, err := enrollment.RequestCodes(ctx, db)
	request := make(map[ids.RequestID]string, len(codes))
	for code, id := range codes {
		request[ids.RequestID(id)] = code
	}
	rows := records.Cells(times, func(t OwnerTime) []string {
		return []string{request[t.RequestID], weekdays[t.Weekday], t.Starts.String(), t.Ends.String(), sheet.YesNo(t.Liked)}
	})
	slices.SortFunc(rows, func(a, b []string) int { return slices.Compare(a[:3], b[:3]) })
	return rows, err
}
