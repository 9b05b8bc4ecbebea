// Package allocation decides which dogs stay where, when, in which run and with which trainer, so that the plan is worth
// the most, and proves how good the plan is. It is pure: a Problem goes in, a Solution comes out, and Check judges it. It imports
// nothing but the standard library, touches no file, network or log, and the same problem, seed, threads and iterations give the same plan.
//
// # Problem
//
// Each dog, or household as a whole, takes at most one option: a site and arrival day, a run class and a trainer there. An option
// is worth its group's value less two penalties and uses one run for every night (and CleanDown more), one intake place, one
// handover place, and on every day the trainer works some of the trainer's minutes and one of the dogs in hand; a site may limit
// all minutes, cover included. Soft levels below capacities cost points where a plan runs over them. The most valuable plan within all
// capacities is wanted. This is a multidimensional multiple-choice
// knapsack problem over time and NP-hard: on one site and day it is already the generalised assignment problem.
//
// # Two bounds, and why each holds
//
// The price bound (prices.go, dual.go). Give every capacity a price not below zero. A plan's value is then at most the price of all there is
// plus what each unit leaves over at best after paying for its option: the prices a plan pays for what it uses are no more than those of
// all there is. This holds at any prices, so an early stop is safe. The best prices give the bound of the linear relaxation (Geoffrion 1974).
//
// The schedule bound (schedules.go, pricing.go, inner.go, calendar.go). Let only the runs, places, site minutes and the rule that a dog comes once
// be priced, and let each trainer choose the whole set of stays, fitting its calendar, that leaves most over. The same argument holds with the
// trainers' best schedules in place of the dogs' best options; and where the search for a schedule is cut short, an upper bound on what
// it could still have found is counted instead. The best such bound is that of the column generation master by trainer (Dantzig and Wolfe
// 1960; Savelsbergh 1997 for generalised assignment). Households are relaxed into single dogs that pass value to one another in each row of
// site and day; transfers that add up to nothing cannot change what a whole household is worth, so the bound holds for any of them.
//
// Within the pricing of one trainer, a further set of prices, by working day and size of stay, bounds what the days can earn. A window of days in
// which nobody who arrives also leaves is treated as a whole, by dynamic programming over minutes and dogs in use; the depth-first search
// prunes with it and never meets the same set of present dogs twice at a lower value.
//
// # Soft levels
//
// A soft level b of a capacity lets a plan use more than b, at p points for each unit over. A plan's value is the worth of its
// options less the sum of p*max(0, use-b) (easy.go, soft.go). In both bounds a level is one more priced row, at a price x between 0 and p: then
// x*(use-b) <= p*max(0, use-b) whatever the use, so the value is at most the Lagrangian with x*b in it, and everything said
// above holds, the exact search's losses included, since they are counted against the same prices. Together with the price y of the capacity
// c itself this is one row at price x+y, whose part in the bound is x*b + y*c. Above p only the capacity's own price grows.
//
// In the schedule bound the sites' levels are priced in the same way. A trainer's level is counted exactly: within the pricing of a schedule
// the difference p*max(0, use-b) - x*(use-b), which is never below zero, is taken off (softdays.go), and x only steers the search.
//
// Load becomes even when the levels of all trainers are the same share of their hours (EvenLoad): taking a stay from a trainer above
// the share and giving it to one below saves points, so an uneven plan is kept only where it earns more than that. Below the share nothing is evened out.
//
// All bounds are sums of integers in fixed point (model.shift) and are rounded outward to whole points at the end, never to the nearest.
//
// # How its prices are found
//
// By the proximal bundle method (bundle.go, bundle_mix.go; Lemaréchal 1975, Kiwiel 1990, with a model for each trainer). Every schedule found leaves over an amount that is linear
// in the prices, and the trainer's best leaves over no less: the schedules found so far are a model that lies below the bound. The next prices are where the
// model, plus a share of the squared distance from the best prices so far, is least: a quadratic programme, solved approximately in its dual, which has a
// weight for each schedule. The method judges its steps by what the schedules found leave over, not by the bound, which pricing cut short leaves loose; of
// every few steps that go down, one is priced closely, the more so the less steps promise. A search cut short knows hardly more than when it began, so close pricing is graded: it repeats
// the search with larger tolerances, and each that ends proves that no schedule leaves over more than the best found and the tolerance.
//
// Small parts, of up to diveUnits dogs and households, use the linear programme over the schedules found (program.go, kernel.go, master.go) after a few
// steps along the subgradient: its solution is a lower limit of the best schedule bound, and its prices, mixed with the best so far, say where to price next.
// When no trainer has a schedule that gains at the programme's own prices, priced almost exactly, both meet. A dog that must come in a branch may have a
// price below zero; the programme counts it as worth a bonus more and lowers its price by as much. Soft levels of sites are columns that add room at their points.
//
// Both are in floating point, and nothing rests on them: whatever prices they name, the bound there is computed in whole numbers as above.
//
// With a plan in hand, a stay is dropped for good when the bound with that stay forced into its trainer's schedule is not above the plan's value
// (prune.go): in the inner bound of its trainer the stay takes the place of what its dog leaves over at best. No better plan has such a stay, so
// the bound of what remains holds for all better plans, and the larger of it and the plan's value holds for all (Geoffrion 1974).
//
// Small parts are then dived into (dive.go): the stays taken most are settled, a few more schedules are found for the rest, and so on
// down to a plan; and they are proven by branch and price (branch.go), with the programme at every node. The rule that
// splits a node is the one that lowers the programme's value most on both sides when it is tried there without pricing (rule.go). What a node
// costs is pricing: the programme takes the schedules that pricing passes on the way to the best as well, and most rounds price only as
// closely as finding schedules needs.
//
// Parts in which every trainer works on one day and nothing but trainers' minutes binds (generalised assignment) are proven by another tree
// (knapsack_tree.go): schedules are knapsacks solved by dynamic programming, nodes are lowered by steps along the subgradient, and stays that no better
// plan of a node can have are forbidden below it. When every dog has one stay at most, nothing ties the trainers together, and their best
// schedules at no prices are the node's best plan. Plans come from regrouping (regroup.go, regroup_search.go): all dogs of a few trainers are dealt out anew among them by
// depth-first search, to the end in two moves of three, with a little chance in what each dog is worth, less and less of it. What lets four or five trainers of
// five to ten dogs be searched within 1,000 nodes is that minutes which no sum of the last dogs can fill are charged at their price before they are left over.
//
// # Course of a solve
//
// Components that share no site are solved apart (components). For each: price steps (in large parts at a quicker pace, pace.go); a greedy plan at those prices; exact depth-first search
// if there are few dogs (exact.go); then in turn the schedule bound and a search guided by its prices, until value and bound meet. The search
// (search.go, quick.go, anneal.go, cooling.go) mixes large moves, which take related stays out and put them back with others, and many quick ones,
// which send one dog to another option and the dogs in its way (makeway.go) wherever they fit; one that fits nowhere makes its own way, once. Quick
// moves draw options the more often the less they lose at the prices. Early in a cycle they count, beside what an option is worth, a share
// of the price of what it uses. With a time limit, one slow cooling takes most of the time, as far as
// slowness pays; after it the best plan is warmed up again and cooled, in turn.
//
// # Sources
//
// Methods are from: Polyak 1969, Held, Wolfe and Crowder 1974, Camerini, Fratta and Maffioli 1975 (subgradient steps); Lemaréchal 1975, Kiwiel 1990 (bundles); Platt 1998 (pairs of
// weights); Barahona and Anbil 2000 (weights of schedules); Dantzig 1951 (simplex method); Ben-Ameur and Neto 2007 (prices between the programme's and the best); Sadykov, Vanderbeck,
// Pessoa, Tahiri and Uchoa 2019 (dives); Barnhart, Johnson, Nemhauser, Savelsbergh and Vance 1998 (branch and price); Achterberg, Koch and Martin 2005 (trying rules); Fisher, Jaikumar and Van
// Wassenhove 1986 and Posta, Ferland and Michelon 2012 (generalised assignment); Charon and Hudry 1993 (chance in values); Shaw 1998, Ropke and Pisinger 2006 (search); Yagiura, Ibaraki and Glover 2004 (ejection chains). They
// are cited from memory.
package allocation
