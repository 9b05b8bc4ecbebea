package rounds

import (
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"regexp"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/frame"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

var styleOfSheet = regexp.MustCompile(`(?s)<style>(.*?)</style>`)

// showSheet shows the trainer's sheet to print, which fits one page of paper.
func showSheet(v *frame.Visit) error {
	sheets := daysheetv1.NewDaySheetServiceClient(v.Conn)
	day, err := sheets.GetTrainerDay(v.Context(), &daysheetv1.GetTrainerDayRequest{TrainerCode: v.Path("trainer"), Day: v.Path("day")})
	if err != nil {
		return err
	}
	if day.GetSheet() == nil {
		return apperr.Preconditionf("DAY_NOT_PLANNED", "There is no plan of %s with anything for %s: the site lead plans the day first.", v.Path("day"), v.Path("trainer"))
	}
	paper := daysheetv1.PrintDaySheetRequest_PAPER_A4
	if v.Query("paper") == "Letter" {
		paper = daysheetv1.PrintDaySheetRequest_PAPER_LETTER
	}
	printed, err := sheets.PrintDaySheet(v.Context(), &daysheetv1.PrintDaySheetRequest{SiteCode: day.GetSiteCode(), Day: v.Path("day"), TrainerCode: v.Path("trainer"),
		Format: daysheetv1.PrintDaySheetRequest_FORMAT_HTML, Paper: paper})
	if err != nil {
		return err
	}
	// The page has its one style within it, known by its digest. What people wrote is escaped there and cannot open a style before it: it comes first.
	style := "'none'"
	if found := styleOfSheet.FindSubmatch(printed.GetContent()); found != nil {
		sum := sha256.Sum256(found[1])
		style = "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	h := v.Writer().Header()
	h.Set("Content-Type", printed.GetMediaType())
	h.Set("Content-Security-Policy", "default-src 'none'; style-src "+style+"; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	v.Writer().WriteHeader(http.StatusOK)
	_, err = v.Writer().Write(printed.GetContent())
	return err
}
