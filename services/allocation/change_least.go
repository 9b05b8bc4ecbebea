package allocation

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
)

// Offer is further ways to place a household that somebody could allow: a longer window, another site, another class. Size says
// how much is asked (days, say), and offers of one Kind, from 0, are compared by it. Groups has a list for each dog of
// Weigher.Household, in its order. What is offered for a site and day that the dog has already must be worth the same.
type Offer struct {
	Kind, Size int
	Groups     [][]Group
}

// Admission is a change that admits a household to a plan with every other placement kept. Offer is an index into the offers, -1
// for none; Lacks is what has to be added. With neither there is room as things are. Value is what the plan gains. Proven
// is false where the joint choices of a large household were too many to try all, so that a smaller change may exist.
type Admission struct {
	Offer      int
	Lacks      []Lack
	Placements []Placement
	Value      int64
	Proven     bool
	// Change is the whole of it, as it was applied and checked.
	Change Change
}

// Weigher finds changes for many dogs of one plan. It is not safe for use by several goroutines at once.
type Weigher struct {
	p     *Problem
	plan  []Placement
	value int64
	book  *book
}

// NewWeigher counts a plan once. The error says which rule a plan breaks.
func NewWeigher(p *Problem, plan []Placement) (*Weigher, error) {
	value, err := Check(p, plan)
	if err != nil {
		return nil, fmt.Errorf("the plan to weigh changes of: %w", err)
	}
	return &Weigher{p: p, plan: plan, value: value, book: newBook(p, plan)}, nil
}

// Household lists the dogs that come with a dog, itself included, in the order that offers use.
func (w *Weigher) Household(dog int) []int { return w.book.household(dog) }

// sortOfChange tells sorts of change apart: the kind of the offer (-1: none) and how many of each kind of resource are lacked.
type sortOfChange struct {
	offer int
	kinds [TrainerDogs + 1]uint8
}

// ask is an admission with its sort and the size of its offer.
type ask struct {
	Admission
	sort sortOfChange
	size int
}

// Admissions lists, for a dog that the plan leaves out, the smallest change of each sort that admits it (with its household) while
// every other placement stays, the smallest first. Placements worth nothing or less are not considered.
//
// A sort is a kind of offer (or none) with kinds of resources. Within one, smaller means, in this order: a smaller size of the offer,
// less to add, on fewer days, and then more value. Between them: fewer different things, then offers by Kind, then trainer minutes,
// dogs in hand, intake places, handover places, site minutes, runs. Each is applied and recounted by Check before it is
// returned, and minutes are the least: with one minute less a day no option of the dog would fit.
func (w *Weigher) Admissions(dog int, offers []Offer) ([]Admission, error) {
	dogs := w.book.household(dog)
	if _, placed := w.book.stays[dog]; placed {
		return nil, nil
	}
	best := map[sortOfChange]ask{}
	proven := w.gather(dogs, -1, Offer{Kind: -1, Groups: w.book.own(dogs)}, best)
	for i, o := range offers {
		if len(dogs) > 1 { // some of a household may need the offer and others not
			groups := w.book.own(dogs)
			for j := range dogs {
				groups[j] = join(groups[j], o.Groups[j])
			}
			o.Groups = groups
		}
		proven = w.gather(dogs, i, o, best) && proven
	}
	var asks []ask
	for _, a := range best {
		if !needless(a.sort, best) {
			asks = append(asks, a)
		}
	}
	slices.SortFunc(asks, func(a, b ask) int { return cmp.Or(compareSorts(a.sort, b.sort), compareSizes(&a, &b)) })
	out := make([]Admission, len(asks))
	for i := range asks {
		out[i] = asks[i].Admission
		out[i].Proven = proven
		if err := w.confirm(dogs, offers, &out[i]); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// gather keeps the best admission of each sort among an offer's groups. An offer and more than one thing besides is nothing that
// a person could use.
func (w *Weigher) gather(dogs []int, index int, o Offer, best map[sortOfChange]ask) (all bool) {
	return w.book.each(dogs, o.Groups, func(stays []stay) {
		if valueOf(stays) <= 0 {
			return
		}
		lacks, net := w.book.try(stays)
		if net <= 0 {
			return
		}
		a := ask{Admission{Offer: index, Lacks: lacks, Value: net}, sortOfChange{offer: o.Kind}, o.Size}
		for _, l := range a.Lacks {
			a.sort.kinds[l.Kind]++
		}
		if len(a.Lacks) > 1 && index >= 0 {
			return
		}
		if was, known := best[a.sort]; known && compareSizes(&a, &was) >= 0 {
			return
		}
		for _, s := range stays {
			a.Placements = append(a.Placements, s.Placement)
		}
		best[a.sort] = a
	})
}

// needless reports whether part of a sort of change is enough by itself.
func needless(s sortOfChange, best map[sortOfChange]ask) bool {
	for other := range best {
		if other == s || (other.offer >= 0 && other.offer != s.offer) {
			continue
		}
		part := true
		for k := range s.kinds {
			part = part && other.kinds[k] <= s.kinds[k]
		}
		if part {
			return true
		}
	}
	return false
}

// kindOrder is the order of resources from the smaller change to the larger.
var kindOrder = [...]ResourceKind{TrainerMinutes, TrainerDogs, IntakePlace, HandoverPlace, SiteMinutes, RunNight}

// compareSorts puts fewer different things first, then offers by kind, then resources in their order.
func compareSorts(a, b sortOfChange) int {
	count := func(s sortOfChange) (n int) {
		if s.offer >= 0 {
			n = 1
		}
		for _, k := range s.kinds {
			n += int(k)
		}
		return n
	}
	without := func(s sortOfChange) int {
		if s.offer >= 0 {
			return 0
		}
		return 1
	}
	order := cmp.Or(cmp.Compare(count(a), count(b)), cmp.Compare(without(a), without(b)), cmp.Compare(a.offer, b.offer))
	for _, k := range kindOrder {
		order = cmp.Or(order, cmp.Compare(b.kinds[k], a.kinds[k]))
	}
	return order
}

// compareSizes puts the smaller of two changes of one sort first.
func compareSizes(a, b *ask) int {
	measure := func(x *ask) (amount, days int) {
		for _, l := range x.Lacks {
			amount += l.Amount
			days += l.Last - l.Day + 1
		}
		return amount, days
	}
	n, d := measure(a)
	m, e := measure(b)
	return cmp.Or(cmp.Compare(a.size, b.size), cmp.Compare(n, m), cmp.Compare(d, e), cmp.Compare(b.Value, a.Value))
}

// confirm applies an admission and has Check count the plan with it. The least number of minutes is looked for by trying fewer.
func (w *Weigher) confirm(dogs []int, offers []Offer, a *Admission) error {
	if len(a.Lacks) == 1 && (a.Lacks[0].Kind == TrainerMinutes || a.Lacks[0].Kind == SiteMinutes) {
		if err := w.leastAmount(dogs, offers, a); err != nil {
			return err
		}
	}
	a.Change = w.change(dogs, offers, a)
	q, err := a.Change.Apply(w.p)
	if err != nil {
		return err
	}
	gain, err := w.gain(q, a.Placements)
	if err != nil {
		return fmt.Errorf("a change that was to admit dog %d does not, which is a fault in the search for it: %w", dogs[0], err)
	}
	if gain != a.Value {
		return fmt.Errorf("a change that was to admit dog %d gains %d points and not %d, which is a fault in the search for it", dogs[0], gain, a.Value)
	}
	return nil
}

// gain has Check count what some placements, all at one site, bring to the plan in a changed problem. Sites share nothing, so that the
// plan of that site tells.
func (w *Weigher) gain(q *Problem, placements []Placement) (int64, error) {
	here := atSites(w.plan, map[int]bool{placements[0].Site: true})
	before, err := Check(w.p, here)
	if err != nil {
		return 0, err
	}
	after, err := Check(q, append(here, placements...))
	return after - before, err
}

// leastAmount lowers the amount of an admission's only lack as far as the dogs still fit, by whatever option of theirs: those of
// other offers of the kind that ask no more are open to them as well.
func (w *Weigher) leastAmount(dogs []int, offers []Offer, a *Admission) error {
	var failed error
	// try looks for a plan with an amount, offer by offer, and returns the first.
	try := func(amount int) (sum Finding, plan []Placement, offer int) {
		sum = Impossible
		for _, offer := range alike(offers, a.Offer) {
			x := Admission{Offer: offer, Lacks: []Lack{a.Lacks[0]}}
			x.Lacks[0].Amount = amount
			q, err := w.change(dogs, offers, &x).Apply(w.p)
			if err != nil {
				failed = err
				return NotFound, nil, offer
			}
			found, plan := newBook(q, atSites(w.plan, sitesOf(q, dogs))).fit(dogs)
			if found == Found {
				return Found, plan, offer
			}
			sum = min(sum, found)
		}
		return sum, nil, a.Offer
	}
	if found, _, _ := try(a.Lacks[0].Amount - 1); found != Found || failed != nil {
		a.Proven = a.Proven && found == Impossible
		return failed
	}
	least := 1 + sort.Search(a.Lacks[0].Amount-1, func(n int) bool { found, _, _ := try(n + 1); return found == Found })
	found, plan, offer := try(least)
	if failed != nil || found != Found {
		return cmp.Or(failed, fmt.Errorf("%d of a resource were enough for dog %d and then were not, which is a fault in the search", least, dogs[0]))
	}
	a.Offer, a.Lacks[0].Amount = offer, least
	a.Placements = slices.DeleteFunc(plan, func(pl Placement) bool { return !slices.Contains(dogs, pl.Dog) })
	q, err := w.change(dogs, offers, a).Apply(w.p)
	if err != nil {
		return err
	}
	a.Value, err = w.gain(q, a.Placements)
	return err
}

// alike lists the offers of the kind of one that ask no more, itself first; without an offer, that.
func alike(offers []Offer, offer int) []int {
	out := []int{offer}
	for i, o := range offers {
		if offer >= 0 && i != offer && o.Kind == offers[offer].Kind && o.Size <= offers[offer].Size {
			out = append(out, i)
		}
	}
	return out
}

// sitesOf is the sites that some dogs could go to.
func sitesOf(p *Problem, dogs []int) map[int]bool {
	sites := map[int]bool{}
	for _, d := range dogs {
		for g := range p.Dogs[d].Placements {
			sites[p.Dogs[d].Placements[g].Site] = true
		}
	}
	return sites
}

// atSites is the part of a plan at some sites.
func atSites(plan []Placement, sites map[int]bool) []Placement {
	var out []Placement
	for _, pl := range plan {
		if sites[pl.Site] {
			out = append(out, pl)
		}
	}
	return out
}

// change is an admission as a change.
func (w *Weigher) change(dogs []int, offers []Offer, a *Admission) Change {
	c := Change{Extras: extras(w.p, a.Lacks)}
	if a.Offer >= 0 {
		c.Groups = map[int][]Group{}
		for i, d := range dogs {
			c.Groups[d] = offers[a.Offer].Groups[i]
		}
	}
	return c
}
