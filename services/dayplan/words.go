package dayplan

import (
	"fmt"
	"strings"

	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/workload"
)

// words says why a session is dropped, and what would help.
func (t *task) words(x dayblocks.Dropped) (reason, remedy string) {
	minutes := t.day.Dogs[x.Dog].Sessions[x.Session].Minutes
	who := t.suitable(x.Dog)
	if who == "" {
		return fmt.Sprintf("nobody who is at work may work with it: that takes %s", needWords(t.needs[x.Dog])),
			"a trainer on loan for the day who may, or a shift of one who has the day off"
	}
	switch x.Reason {
	case dayblocks.NeverPossible:
		return fmt.Sprintf("%s, an open area and the dog are never free together for %d minutes, whatever else is planned", who, minutes),
			"longer hours of one of them, or another time for the dog's arrival or handover"
	case dayblocks.DogFull:
		return fmt.Sprintf("the dog's other sessions, with %d minutes of rest between them and its meals, leave no room while %s can be there", dogRest, who),
			"a shift that begins earlier or ends later; whether the dog can do with less rest a person decides"
	case dayblocks.NoTrainer:
		return fmt.Sprintf("none of those who may hold it is free when the dog is: %s", who),
			fmt.Sprintf("%d minutes more of one of them", minutes+changeover)
	case dayblocks.NoArea:
		return fmt.Sprintf("no area is free when the dog and %s are", who), "one more area, or room for one more dog in one"
	case dayblocks.NoSecond:
		return "no second trainer is free when dog, trainer and area are", "one more trainer at that time"
	default:
		return "there is room, but only where it costs more points than the session is worth, such as changes for many others", "plan the day anew if the others may change"
	}
}

// needWords says what a trainer must hold.
func needWords(need workload.Need) string {
	words := []string{"care class " + string(need.Care)}
	for _, skill := range workload.Skills() {
		if level := need.Skills[skill]; level > 0 {
			words = append(words, fmt.Sprintf("%s %d", skill, level))
		}
	}
	return strings.Join(words, ", ")
}
