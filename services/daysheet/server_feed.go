package daysheet

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

// now is the instant of a call as the database keeps it.
func (s *Server) now() time.Time { return s.deps.Now().UTC().Truncate(time.Microsecond) }

// MakeFeed makes a feed, and tells its address this once.
func (s *Server) MakeFeed(ctx context.Context, req *daysheetv1.MakeFeedRequest) (*daysheetv1.MakeFeedResponse, error) {
	f := Feed{ID: ids.FeedID(s.deps.Mint()), MadeAt: s.now(), MadeBy: s.deps.Caller(ctx)}
	token := rpc.NewToken()
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		trainer, err := roster.FindTrainer(ctx, tx, req.GetTrainerCode())
		if err != nil {
			return err
		}
		f.TrainerID, f.TrainerCode = trainer.ID, trainer.Code
		return insertFeed(ctx, tx, f, token)
	})
	if err != nil {
		return nil, err
	}
	return &daysheetv1.MakeFeedResponse{Feed: feedToProto(f), Path: feedPath(token)}, nil
}

// ListFeeds lists feeds by trainer and instant.
func (s *Server) ListFeeds(ctx context.Context, req *daysheetv1.ListFeedsRequest) (*daysheetv1.ListFeedsResponse, error) {
	var feeds []Feed
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if req.GetTrainerCode() != "" {
			if _, err := roster.FindTrainer(ctx, tx, req.GetTrainerCode()); err != nil {
				return err
			}
		}
		if feeds, err = listFeeds(ctx, tx); err != nil {
			return err
		}
		return nameTrainers(ctx, tx, feeds)
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(feeds, func(a, b Feed) int { return strings.Compare(a.TrainerCode, b.TrainerCode) })
	out := &daysheetv1.ListFeedsResponse{}
	for _, f := range feeds {
		if req.GetTrainerCode() == "" || f.TrainerCode == req.GetTrainerCode() {
			out.Feeds = append(out.Feeds, feedToProto(f))
		}
	}
	return out, nil
}

// RevokeFeed shuts a feed.
func (s *Server) RevokeFeed(ctx context.Context, req *daysheetv1.RevokeFeedRequest) (*daysheetv1.RevokeFeedResponse, error) {
	id, err := ids.Parse[ids.FeedID](req.GetFeedId())
	if err != nil {
		return nil, apperr.InvalidField("feed_id", err.Error(), "take it from the list of feeds")
	}
	feeds := make([]Feed, 1)
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if feeds[0], err = revokeFeed(ctx, tx, id, s.deps.Caller(ctx), s.now()); err != nil {
			return err
		}
		return nameTrainers(ctx, tx, feeds)
	})
	if err != nil {
		return nil, err
	}
	return &daysheetv1.RevokeFeedResponse{Feed: feedToProto(feeds[0])}, nil
}

func nameTrainers(ctx context.Context, db postgres.DB, feeds []Feed) error {
	trainers, err := roster.ListTrainers(ctx, db)
	for i := range feeds {
		for _, t := range trainers {
			if t.ID == feeds[i].TrainerID {
				feeds[i].TrainerCode = t.Code
			}
		}
	}
	return err
}
