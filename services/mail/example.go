package mail

import "time"

// Example is a letter of a kind with example values, a day ahead. Its key is empty: whoever puts it gives it one of its own.
func Example(kind KindInfo, to Address, now time.Time) Letter {
	l := Letter{Kind: kind.Kind, To: to, Zone: "America/Denver", Fields: map[string]string{}, Lists: map[string][]string{}}
	for _, f := range kind.Fields {
		switch {
		case f.Own:
		case f.List:
			l.Lists[f.Name] = f.Example
		default:
			l.Fields[f.Name] = f.Example[0]
		}
	}
	if kind.Invites {
		begins := now.UTC().Truncate(time.Hour).Add(24 * time.Hour)
		l.Event = &Event{UID: "example", Method: Request, Begins: begins, Ends: begins.Add(90 * time.Minute), Zone: l.Zone, Summary: "Handover of " + l.Fields["dog"],
			Place: l.Fields["site"], Description: "An example."}
		if kind.Kind == HandoverCancelled {
			l.Event.Method = Cancel
		}
	}
	return l
}
