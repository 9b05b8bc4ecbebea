package planner

import (
	"context"

	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// KindHealthRules names the days that a site keeps when a dog is ill.
const KindHealthRules = "health-rules"

// mostHealthDays is the most that each of the numbers may be.
const mostHealthDays = 90

func healthRulesPort() records.Port {
	days := func(name, example, about string, least int) sheet.Column {
		return sheet.Column{Name: name, Form: sheet.FormWhole, Required: true, Min: least, Max: mostHealthDays, Example: example, About: about}
	}
	return records.Port{
		Kind: sheet.Kind{Name: KindHealthRules, About: "Days of isolation, watching and intake holds of a site; a veterinarian and local codes go before them", Key: []string{"site"}, Columns: []sheet.Column{
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: "sites", Example: "HILL", About: "code of the site"},
			days("isolation_days", "14", "nights that a dog with signs of illness is kept apart", 1),
			days("watch_days", "7", "days for which dogs that were near it are watched, and looked for before", 1),
			days("distemper_watch_days", "14", "the same when distemper is suspected", 1),
			days("hold_days", "7", "days on which no new dog arrives; 0 for none", 0),
			{Name: "hold_scope", Form: sheet.FormChoice, OneOf: []string{HoldRow, HoldSite, HoldNone}, Required: true, Example: HoldRow, About: "where no new dog arrives"},
			{Name: "note", Form: sheet.FormText, Example: "our veterinarian, January 2027", About: "where the numbers are from"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			all := make([]HealthRules, len(rows))
			for i, row := range rows {
				all[i] = HealthRules{SiteID: ids.SiteID(row.Ref("site")), IsolationDays: row.Int("isolation_days"), WatchDays: row.Int("watch_days"),
					DistemperWatchDays: row.Int("distemper_watch_days"), HoldDays: row.Int("hold_days"), HoldScope: row.Text("hold_scope"), Note: row.Text("note")}
			}
			return nil, putHealthRules(ctx, tx, all)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			sites, err := facility.ListSites(ctx, db)
			if err != nil {
				return nil, err
			}
			set, err := listHealthRules(ctx, db)
			var out [][]string
			for _, site := range sites {
				for _, r := range set {
					if r.SiteID == site.ID {
						out = append(out, []string{site.Code, sheet.Int(r.IsolationDays), sheet.Int(r.WatchDays), sheet.Int(r.DistemperWatchDays), sheet.Int(r.HoldDays), r.HoldScope, r.Note})
					}
				}
			}
			return out, err
		},
	}
}
