package enrollment

import (
	"context"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// SiteRules is what this package needs to know of a site.
type SiteRules struct {
	ID   ids.SiteID
	Code string
	// RabiesWaitingDays is when a first rabies vaccination begins to count there: 14, 28 or 30 days after it.
	RabiesWaitingDays int
	// RequiredVaccines must be valid on every day from arrival through graduation.
	RequiredVaccines []string
}

// Sites lists every site. The package that keeps the sites provides it.
type Sites func(ctx context.Context, db postgres.DB) ([]SiteRules, error)

// sitesByID reads the sites.
func sitesByID(ctx context.Context, db postgres.DB, list Sites) (map[ids.SiteID]SiteRules, error) {
	all, err := list(ctx, db)
	sites := make(map[ids.SiteID]SiteRules, len(all))
	for _, s := range all {
		sites[s.ID] = s
	}
	return sites, err
}

// RulesFor returns the vaccine rules of a site. A vaccine without a rule is a Precondition error that names the site: a plan made
// without the rule would let in a dog that the site wants to keep out.
func RulesFor(site SiteRules) ([]VaccineRule, error) {
	rules, err := VaccineRules(site.RequiredVaccines, site.RabiesWaitingDays)
	if err != nil {
		return nil, apperr.Preconditionf("SITE_VACCINES_UNKNOWN",
			"Site %s has vaccine rules that cannot be checked: %s. Correct required_vaccines and rabies_waiting_days of the site.", site.Code, err)
	}
	return rules, nil
}

// choicesByCode returns the choices by site code.
func choicesByCode(choices []SiteChoice, sites map[ids.SiteID]SiteRules) []SiteChoice {
	return slices.SortedFunc(slices.Values(choices), func(a, b SiteChoice) int {
		return strings.Compare(sites[a.SiteID].Code, sites[b.SiteID].Code)
	})
}
