package main

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/ids"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

type logCmd struct {
	Add     logAddCmd     `cmd:"" default:"withargs" help:"Log a session: longlead log D-001 SIT-STAY 8/10 --hold 60."`
	List    logListCmd    `cmd:"" help:"List the sessions of a dog."`
	Correct logCorrectCmd `cmd:"" help:"Correct a session; what it said before is kept. 0/0 takes back a session that never was."`
	Skills  logSkillsCmd  `cmd:"" help:"Show the skill ladder, and what a program asks of it."`
}

// withTraining runs a command on the training service, of this process or of --server.
func withTraining(ctx context.Context, o *Options, std streams, do func(client trainingv1.TrainingServiceClient) error) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(trainingv1.NewTrainingServiceClient(a.conn))
}

// sendAgain is what makes a line arrive once, however often it is sent.
type sendAgain struct {
	Key string    `help:"Key of the line, to send it again after a failure; without one a new one is made." placeholder:"UUID"`
	At  time.Time `help:"When the session was, such as 2027-03-08T09:20:00-07:00; now when it is left out." placeholder:"INSTANT"`
}

// makeKey makes a key unless there is one.
func (s *sendAgain) makeKey() {
	if s.Key == "" {
		s.Key = ids.NewMint()().String()
	}
}

// failed says after a failure how the line can be sent again, unless it was refused for what it says.
func (s *sendAgain) failed(ctx context.Context, err error, std streams) error {
	switch code := status.Code(err); {
	case err == nil:
		return nil
	case code == codes.PermissionDenied, code == codes.Unauthenticated:
	case slices.Contains([]int{exitUsage, exitFaults, exitRefused}, exitCode(ctx, err)):
		return err
	}
	again := "--key=" + s.Key
	if !s.At.IsZero() {
		again += " --at=" + s.At.Format(time.RFC3339Nano)
	}
	fmt.Fprintf(std.err, "It is not sure whether the session arrived. Send the same line again with %s: it is kept once.\n", again)
	return err
}

type logAddCmd struct {
	Dog         string      `arg:"" help:"Code of the dog."`
	Skill       string      `arg:"" help:"Code of the skill."`
	Score       scoreArg    `arg:"" help:"Trials passed of all, such as 8/10."`
	Trainer     string      `env:"LONGLEAD_TRAINER" help:"Code of the trainer; without one, the trainer who is named like the caller." placeholder:"CODE"`
	Hold        holdArg     `help:"Longest hold: seconds, or such as 1m30s." placeholder:"SECONDS"`
	Distance    distanceArg `help:"Distance from the handler: feet, or such as 2m or 150cm." placeholder:"FEET"`
	Distraction levelArg    `help:"0 quiet, 1 mild, 2 lively, 3 busy." default:"0" placeholder:"LEVEL"`
	Settled     *levelArg   `help:"0 not, 1 a little, 2 mostly, 3 calm." placeholder:"LEVEL"`
	Note        string      `help:"What whoever trains next should know, up to 500 characters."`
	sendAgain
}

// Run logs a session.
func (c *logAddCmd) Run(ctx context.Context, o *Options, std streams) error {
	c.makeKey()
	if c.At.IsZero() {
		c.At = time.Now().Truncate(time.Microsecond)
	}
	entry := &trainingv1.Entry{Key: c.Key, DogCode: c.Dog, TrainerCode: c.Trainer, SkillCode: c.Skill, TrainedAt: timestamppb.New(c.At),
		Trials: c.Score.trials, Successes: c.Score.passed, HoldSeconds: int32(c.Hold), DistanceCm: int32(c.Distance),
		Distraction: int32(c.Distraction), Settled: c.Settled.value(), Note: c.Note}
	return c.failed(ctx, withTraining(ctx, o, std, func(client trainingv1.TrainingServiceClient) error {
		answer, err := client.LogSession(ctx, &trainingv1.LogSessionRequest{Entry: entry})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, answer)
		}
		printLogged(std.out, o, "Logged", answer.GetSession())
		return nil
	}), std)
}

type logCorrectCmd struct {
	Session     string       `arg:"" help:"ID of the session, as log list shows it."`
	Score       *scoreArg    `arg:"" optional:"" help:"Trials passed of all, such as 8/10. What is left out stays as it was."`
	Dog         string       `help:"Code of the dog." placeholder:"CODE"`
	Skill       string       `help:"Code of the skill." placeholder:"CODE"`
	Trainer     string       `help:"Code of the trainer." placeholder:"CODE"`
	Hold        *holdArg     `help:"Longest hold: seconds, or such as 1m30s." placeholder:"SECONDS"`
	Distance    *distanceArg `help:"Distance from the handler: feet, or such as 2m or 150cm." placeholder:"FEET"`
	Distraction *levelArg    `help:"0 quiet, 1 mild, 2 lively, 3 busy." placeholder:"LEVEL"`
	Settled     *levelArg    `help:"0 not, 1 a little, 2 mostly, 3 calm." placeholder:"LEVEL"`
	Note        *string      `help:"What whoever trains next should know, up to 500 characters."`
	sendAgain
}

// Run corrects a session. What the line leaves out is taken from the session that it corrects, never from a later one: so the same
// line sent twice says the same.
func (c *logCorrectCmd) Run(ctx context.Context, o *Options, std streams) error {
	c.makeKey()
	return c.failed(ctx, withTraining(ctx, o, std, func(client trainingv1.TrainingServiceClient) error {
		read, err := client.ReadSession(ctx, &trainingv1.ReadSessionRequest{SessionId: c.Session})
		if err != nil {
			return err
		}
		for _, s := range read.GetSessions() {
			if s.GetId() != c.Session {
				continue
			}
			if c.At.IsZero() {
				c.At = s.GetTrainedAt().AsTime()
			}
			answer, err := client.CorrectSession(ctx, &trainingv1.CorrectSessionRequest{SessionId: c.Session, Entry: c.corrected(s)})
			if err != nil {
				return err
			}
			if o.JSON {
				return printJSON(std.out, answer)
			}
			printLogged(std.out, o, "Corrected", answer.GetSession())
			return nil
		}
		return usageError(fmt.Sprintf("session %q: write the ID in small letters, as log list shows it", c.Session))
	}), std)
}

// corrected is the session as it was, with what the line changes.
func (c *logCorrectCmd) corrected(s *trainingv1.Session) *trainingv1.Entry {
	e := &trainingv1.Entry{Key: c.Key, DogCode: either(c.Dog, s.GetDogCode()), TrainerCode: either(c.Trainer, s.GetTrainerCode()),
		SkillCode: either(c.Skill, s.GetSkillCode()), TrainedAt: timestamppb.New(c.At), Trials: s.GetTrials(), Successes: s.GetSuccesses(),
		HoldSeconds: s.GetHoldSeconds(), DistanceCm: s.GetDistanceCm(), Distraction: s.GetDistraction(), Settled: s.Settled, Note: s.GetNote()}
	if c.Score != nil {
		e.Trials, e.Successes = c.Score.trials, c.Score.passed
	}
	if c.Hold != nil {
		e.HoldSeconds = int32(*c.Hold)
	}
	if c.Distance != nil {
		e.DistanceCm = int32(*c.Distance)
	}
	if c.Distraction != nil {
		e.Distraction = int32(*c.Distraction)
	}
	if c.Settled != nil {
		e.Settled = c.Settled.value()
	}
	if c.Note != nil {
		e.Note = *c.Note
	}
	return e
}

func either(first, second string) string {
	if first != "" {
		return first
	}
	return second
}

type logListCmd struct {
	Dog     string `arg:"" help:"Code of the dog."`
	From    string `help:"First day, written 2027-03-08." placeholder:"DAY"`
	To      string `help:"Last day." placeholder:"DAY"`
	History bool   `help:"List corrected sessions as well."`
}

// Run lists sessions.
func (c *logListCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withTraining(ctx, o, std, func(client trainingv1.TrainingServiceClient) error {
		list, err := client.ListSessions(ctx, &trainingv1.ListSessionsRequest{DogCode: c.Dog, FirstDay: c.From, LastDay: c.To, WithHistory: c.History})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, list)
		}
		printSessions(std.out, o, c.Dog, list.GetSessions())
		return nil
	})
}

type logSkillsCmd struct {
	Program string `arg:"" optional:"" help:"Code of a program, for what it asks of each skill."`
}

// Run shows the ladder.
func (c *logSkillsCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withTraining(ctx, o, std, func(client trainingv1.TrainingServiceClient) error {
		ladder, err := client.ListSkills(ctx, &trainingv1.ListSkillsRequest{ProgramCode: c.Program})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, ladder)
		}
		printSkills(std.out, c.Program, ladder.GetSkills())
		return nil
	})
}
