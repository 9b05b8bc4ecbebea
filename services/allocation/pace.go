package allocation

// pace is how the steps are chosen.
type pace struct {
	level   float64 // first target gap, as a share of size
	deflect float64 // share of the last direction that is kept
	patient int     // steps without gain after which the target comes nearer
	nearer  float64 // share of its distance that is left then
	least   float64 // what counts as a gain, as a share of size
	relief  float64 // or as a share of the target's distance
}

// Thorough steps come nearest to the best bound. Large parts have no time for that: with 4,000
// dogs, 200 hasty steps came lower than 300 thorough ones. Where there is time for some tens of steps only, hurried ones are 1 to 3 %
// lower after 25 to 50 steps, and 0.2 % higher after 400.
var (
	thorough = pace{level: 0.05, deflect: 0.98, patient: 20, nearer: 0.6, least: 1e-5}
	hasty    = pace{level: 0.1, deflect: 0.96, patient: 8, nearer: 0.4, relief: 0.02}
	hurried  = pace{level: 0.1, deflect: 0.94, patient: 3, nearer: 0.4, relief: 0.02}
)

// hurriedSteps is how many steps there must be time for so that hasty ones pay.
const hurriedSteps = 80
