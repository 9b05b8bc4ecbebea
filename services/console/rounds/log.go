package rounds

import (
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/frame"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// logForm takes the form of a browser without scripts. Sent twice it arrives once: its key stands in it.
func logForm(v *frame.Visit) error {
	view, err := readDay(v)
	if err != nil {
		return err
	}
	f := view.readForm(v)
	e, err := f.entry()
	if err == nil {
		err = keep(v, f, e)
	}
	if t, ok := frame.Mendable(err); ok || t != nil && t.Status == http.StatusNotFound { // such as a dog whose code was mistyped
		view.Form, view.Trouble = f, t
		return v.ShowAs(t.Status, dayPage, view)
	}
	if err != nil {
		return err
	}
	said := fmt.Sprintf("Logged: %s, %s, %d of %d.", f.DogName, view.skillName(f.Skill), e.GetSuccesses(), e.GetTrials())
	if f.Replaces != "" && e.GetTrials() == 0 {
		said = fmt.Sprintf("Taken back: %s, %s. What was logged stays in the history.", f.DogName, view.skillName(f.Skill))
	}
	return v.Done(view.Path, said)
}

func keep(v *frame.Visit, f *form, e *trainingv1.Entry) error {
	logs := trainingv1.NewTrainingServiceClient(v.Conn)
	if f.Replaces != "" {
		_, err := logs.CorrectSession(v.Context(), &trainingv1.CorrectSessionRequest{SessionId: f.Replaces, Entry: e})
		return err
	}
	_, err := logs.LogSession(v.Context(), &trainingv1.LogSessionRequest{Entry: e})
	return err
}

// told is who is signed in, for a phone that has something to send: what another has written down is not theirs.
type told struct {
	Login string `json:"login"`
	Token string `json:"token"`
}

func tellToken(v *frame.Visit) error {
	return answer(v, told{Login: v.Person.Login, Token: v.Token()})
}

// queue is what a phone has kept.
type queue struct {
	// Login is whose it is.
	Login   string  `json:"login"`
	Entries []*form `json:"entries"`
}

// outcome is what came of one session.
type outcome struct {
	Key string `json:"key"`
	// Kept says that it is in the log. Otherwise Reason says why not, and sending it again as it is does not help.
	Kept   bool   `json:"kept"`
	Reason string `json:"reason,omitempty"`
}

// mostQueued is the longest queue; the phone sends the rest afterwards.
const mostQueued = 200

// takeQueue takes what a phone has kept, in its order, each for itself. It may come as often as the phone likes.
func takeQueue(v *frame.Visit) error {
	var sent queue
	if err := json.NewDecoder(v.Request.Body).Decode(&sent); err != nil {
		return apperr.Invalidf("QUEUE_UNREADABLE", "What the phone sent cannot be read.")
	}
	if sent.Login != v.Person.Login {
		return apperr.Deniedf("QUEUE_FOREIGN", "These sessions were written down by somebody else: they stay on the phone until that person signs in.")
	}
	if len(sent.Entries) > mostQueued {
		return apperr.Invalidf("QUEUE_LONG", "At most %d sessions are taken at a time.", mostQueued)
	}
	outcomes := make([]outcome, len(sent.Entries))
	req := &trainingv1.LogSessionsRequest{}
	var at []int
	for i, f := range sent.Entries {
		if f == nil {
			return apperr.Invalidf("QUEUE_UNREADABLE", "What the phone sent cannot be read.")
		}
		outcomes[i].Key = f.Key
		if v.Person.TrainerCode != "" {
			f.Trainer = v.Person.TrainerCode
		}
		e, err := f.entry()
		if err != nil {
			outcomes[i].Reason = inWords(err)
			continue
		}
		req.Entries, at = append(req.Entries, &trainingv1.QueuedEntry{Entry: e, ReplacesId: f.Replaces}), append(at, i)
	}
	if len(req.GetEntries()) > 0 {
		got, err := trainingv1.NewTrainingServiceClient(v.Conn).LogSessions(v.Context(), req)
		if err != nil {
			return err
		}
		for n, r := range got.GetResults() {
			outcomes[at[n]].Kept = r.GetRefusal() == nil
			outcomes[at[n]].Reason = r.GetRefusal().GetMessage()
		}
	}
	return answer(v, outcomes)
}

// inWords is an error with its fields, on one line.
func inWords(err error) string {
	t := frame.TroubleOf(err)
	text := t.Text
	for _, f := range t.Fields {
		text += " " + f.Path + ": " + f.Text + "."
	}
	return text
}

func answer(v *frame.Visit, x any) error {
	v.Writer().Header().Set("Content-Type", "application/json")
	return json.NewEncoder(v.Writer()).Encode(x)
}
