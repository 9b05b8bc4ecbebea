package roster

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/postgres"
)

// CheckMonth holds the shifts of a month against the work rules of each site, from the caller's snapshot. What it finds is by
// trainer and day; WorkRulesCaution belongs beside it.
func CheckMonth(ctx context.Context, tx postgres.Tx, sites Sites, month calendar.Month) ([]WorkFinding, error) {
	index, err := indexSites(ctx, tx, sites)
	if err != nil {
		return nil, err
	}
	rules, err := ListWorkRules(ctx, tx)
	if err != nil {
		return nil, err
	}
	trainers, days, err := ListDays(ctx, tx, workWindow(month))
	if err != nil {
		return nil, err
	}
	return checkMonth(month, trainers, days, rules, index)
}
