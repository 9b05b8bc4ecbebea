package daysheet

import (
	"net/http"

	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/rpc"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

// Pages are what is served over HTTP: the page to print, for callers with a token, and the feeds, whose addresses are secrets themselves.
func (s *Server) Pages(conn *grpc.ClientConn) []rpc.Page {
	client := daysheetv1.NewDaySheetServiceClient(conn)
	print := func(r *http.Request, site, day string, q pageQuery) (string, []byte, error) {
		req := &daysheetv1.PrintDaySheetRequest{SiteCode: site, Day: day, TrainerCode: q.trainer, Row: q.row, Format: daysheetv1.PrintDaySheetRequest_FORMAT_HTML,
			Paper: daysheetv1.PrintDaySheetRequest_PAPER_A4}
		if q.rows {
			req.Sheets = daysheetv1.Sheets_SHEETS_ROWS
		}
		if q.paper == PaperLetter {
			req.Paper = daysheetv1.PrintDaySheetRequest_PAPER_LETTER
		}
		got, err := client.PrintDaySheet(rpc.CallContext(r), req)
		return got.GetMediaType(), got.GetContent(), err
	}
	return []rpc.Page{
		{Pattern: sheetPattern, Serve: serveSheet(print)},
		{Pattern: "GET " + feedPrefix + "{file}", Open: true, Serve: s.serveFeed},
	}
}
