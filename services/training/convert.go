package training

import (
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// sent is a session as it was sent: its codes are not looked up yet.
type sent struct {
	key                 ids.SessionID
	dog, trainer, skill string
	entry               Entry
}

// entryFromProto reads a session and checks all that needs no look at the database. replaces is the session that it corrects;
// empty for a new one.
func entryFromProto(e *trainingv1.Entry, replaces string) (sent, error) {
	key, err := ids.Parse[ids.SessionID](e.GetKey())
	if err != nil {
		return sent{}, apperr.InvalidField("key", err.Error(), "make a new UUID for each session, and keep it until the session has arrived")
	}
	out := sent{key: key, dog: e.GetDogCode(), trainer: e.GetTrainerCode(), skill: e.GetSkillCode()}
	for _, required := range []struct{ path, value string }{{"dog_code", out.dog}, {"skill_code", out.skill}} {
		if required.value == "" || strings.ContainsRune(required.value, 0) {
			return sent{}, apperr.InvalidField(required.path, "is empty or no code", "name the dog and the skill by their codes")
		}
	}
	out.entry = Entry{Trials: int(e.GetTrials()), Successes: int(e.GetSuccesses()), HoldSeconds: int(e.GetHoldSeconds()),
		DistanceCM: int(e.GetDistanceCm()), Distraction: int(e.GetDistraction()), Note: e.GetNote()}
	if at := e.GetTrainedAt(); at != nil {
		if !at.IsValid() {
			return sent{}, apperr.InvalidField("trained_at", "is no instant", "send the instant of the device, in the years 1 to 9999")
		}
		out.entry.TrainedAt = at.AsTime().UTC().Truncate(time.Microsecond)
	}
	if e.Settled != nil {
		settled := int(e.GetSettled())
		out.entry.Settled = &settled
	}
	if replaces != "" {
		if out.entry.Replaces, err = ids.Parse[ids.SessionID](replaces); err != nil {
			return sent{}, apperr.InvalidField("replaces_id", err.Error(), "name the session to correct by its ID")
		}
		if out.entry.Replaces == key {
			return sent{}, apperr.InvalidField("key", "is that of the session to correct", "make a new UUID for the correction")
		}
	}
	return out, checkEntry(out.entry)
}

func sessionToProto(k Kept, names codes) *trainingv1.Session {
	s := k.Session
	out := &trainingv1.Session{
		Id: s.ID.String(), DogCode: names.dogs[s.DogID], TrainerCode: names.trainers[s.TrainerID], SkillCode: names.skills[s.SkillID],
		TrainedAt: timestamppb.New(s.TrainedAt), ArrivedAt: timestamppb.New(s.ArrivedAt), AheadSeconds: int64(s.Ahead() / time.Second),
		Day: s.Day.String(), Trials: int32(s.Trials), Successes: int32(s.Successes), HoldSeconds: int32(s.HoldSeconds),
		DistanceCm: int32(s.DistanceCM), Distraction: int32(s.Distraction), Note: s.Note, LoggedBy: s.LoggedBy,
		ReplacesId: s.Replaces.String(), ReplacedById: k.ReplacedBy.String(),
	}
	if s.Settled != nil {
		settled := int32(*s.Settled)
		out.Settled = &settled
	}
	return out
}

func sessionsToProto(kept []Kept, names codes) []*trainingv1.Session {
	out := make([]*trainingv1.Session, len(kept))
	for i, k := range kept {
		out[i] = sessionToProto(k, names)
	}
	return out
}

// refusalToProto turns an error about one session of a queue into words. It returns nil for an error that may pass by itself or
// is a fault of ours: those end the whole call, and the queue can be sent again.
func refusalToProto(err error) *trainingv1.Refusal {
	known, ok := apperr.From(err)
	if !ok || known.Kind == apperr.Internal || known.Kind == apperr.Unavailable {
		return nil
	}
	message := known.Message
	for _, f := range known.Fields {
		message += " " + f.String() + "."
	}
	return &trainingv1.Refusal{Reason: known.Reason, Message: message}
}

func skillsToProto(skills []Skill, targets []Target) *trainingv1.ListSkillsResponse {
	asked := make(map[ids.SkillID]Target, len(targets))
	for _, t := range targets {
		asked[t.SkillID] = t
	}
	out := &trainingv1.ListSkillsResponse{}
	for _, s := range skills {
		skill := &trainingv1.Skill{Code: s.Code, Name: s.Name, About: s.About, WithName: s.WithName}
		if t, ok := asked[s.ID]; ok {
			skill.Target = &trainingv1.Target{TrialsPercent: int32(t.TrialsPercent), HoldSeconds: int32(t.HoldSeconds),
				DistanceCm: int32(t.DistanceCM), Distraction: int32(t.Distraction)}
		}
		out.Skills = append(out.Skills, skill)
	}
	return out
}
