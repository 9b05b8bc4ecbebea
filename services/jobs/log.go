package jobs

import (
	"context"
	"fmt"
	"log/slog"
	"regexp"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"

	"github.com/longlead/longlead/services/apperr"
)

// failures logs jobs that failed, once each, by number and kind: arguments may name people.
type failures struct {
	log *slog.Logger
}

// HandleError logs an attempt that returned an error.
func (f *failures) HandleError(ctx context.Context, job *rivertype.JobRow, err error) *river.ErrorHandlerResult {
	level := slog.LevelWarn
	if job.Attempt >= job.MaxAttempts {
		level = slog.LevelError
	}
	f.log.LogAttrs(ctx, level, "job failed", append(attrs(job),
		slog.String("error_kind", apperr.KindOf(err).String()), slog.String("error", err.Error()))...)
	return nil
}

// HandlePanic logs an attempt that panicked.
func (f *failures) HandlePanic(ctx context.Context, job *rivertype.JobRow, value any, trace string) *river.ErrorHandlerResult {
	f.log.LogAttrs(ctx, slog.LevelError, "job panicked", append(attrs(job),
		slog.String("panic", fmt.Sprint(value)), slog.String("trace", trace))...)
	return nil
}

func attrs(job *rivertype.JobRow) []slog.Attr {
	return []slog.Attr{slog.Int64("job_id", job.ID), slog.String("job_kind", job.Kind), slog.String("queue", job.Queue),
		slog.Int("attempt", job.Attempt), slog.Int("max_attempts", job.MaxAttempts)}
}

// logger drops what is below a warning (River reports every failure at a lower level too) and hides e-mail addresses,
// which the answers of mail servers hold.
func logger(l *slog.Logger) *slog.Logger {
	if l == nil {
		return slog.New(slog.DiscardHandler)
	}
	return slog.New(discreet{l.Handler()})
}

type discreet struct{ slog.Handler }

func (d discreet) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= slog.LevelWarn && d.Handler.Enabled(ctx, level)
}

func (d discreet) Handle(ctx context.Context, r slog.Record) error {
	out := slog.NewRecord(r.Time, r.Level, withoutAddresses(r.Message), r.PC)
	r.Attrs(func(a slog.Attr) bool {
		out.AddAttrs(hide(a))
		return true
	})
	return d.Handler.Handle(ctx, out)
}

func (d discreet) WithAttrs(as []slog.Attr) slog.Handler {
	hidden := make([]slog.Attr, len(as))
	for i, a := range as {
		hidden[i] = hide(a)
	}
	return discreet{d.Handler.WithAttrs(hidden)}
}

func (d discreet) WithGroup(name string) slog.Handler { return discreet{d.Handler.WithGroup(name)} }

func hide(a slog.Attr) slog.Attr {
	a.Value = a.Value.Resolve()
	switch a.Value.Kind() {
	case slog.KindString:
		a.Value = slog.StringValue(withoutAddresses(a.Value.String()))
	case slog.KindGroup:
		group := a.Value.Group()
		hidden := make([]slog.Attr, len(group))
		for i, g := range group {
			hidden[i] = hide(g)
		}
		a.Value = slog.GroupValue(hidden...)
	case slog.KindAny:
		a.Value = slog.StringValue(withoutAddresses(fmt.Sprint(a.Value.Any())))
	}
	return a
}

var address = regexp.MustCompile(`[^\s<>()\[\],;:"']+@[^\s<>()\[\],;:"']+`)

func withoutAddresses(s string) string { return address.ReplaceAllString(s, "[address]") }
