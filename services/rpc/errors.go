package rpc

import (
	"context"
	"errors"
	"log/slog"
	"runtime/debug"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	"github.com/longlead/longlead/services/apperr"
)

// errorDomain stands in the ErrorInfo of every status that we make.
const errorDomain = "longlead"

var kindCodes = map[apperr.Kind]codes.Code{
	apperr.Invalid:         codes.InvalidArgument,
	apperr.NotFound:        codes.NotFound,
	apperr.Conflict:        codes.AlreadyExists,
	apperr.Precondition:    codes.FailedPrecondition,
	apperr.Unavailable:     codes.Unavailable,
	apperr.Denied:          codes.PermissionDenied,
	apperr.Unauthenticated: codes.Unauthenticated,
}

// toStatus turns any error into a status. An *apperr.Error keeps its words, its reason and its fields. A status passes.
// Everything else is Internal with a fixed text: what it says is for the log only.
func toStatus(err error) error {
	if err == nil {
		return nil
	}
	if known, ok := apperr.From(err); ok && kindCodes[known.Kind] != codes.OK {
		return knownStatus(known)
	}
	switch {
	case errors.Is(err, context.Canceled):
		return status.Error(codes.Canceled, "the caller gave up")
	case errors.Is(err, context.DeadlineExceeded):
		return status.Error(codes.DeadlineExceeded, "this took longer than the caller allowed")
	}
	if s, ok := status.FromError(err); ok && s.Code() != codes.Unknown {
		return err
	}
	return status.Error(codes.Internal, "something went wrong on our side; the log has the details")
}

func knownStatus(known *apperr.Error) error {
	message := known.Message
	for _, f := range known.Fields {
		message += " " + f.String() + "."
	}
	details := []protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: known.Reason, Domain: errorDomain}}
	if len(known.Fields) > 0 {
		bad := &errdetails.BadRequest{}
		for _, f := range known.Fields {
			bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: f.Path, Description: f.String()})
		}
		details = append(details, bad)
	}
	s := status.New(kindCodes[known.Kind], message)
	if detailed, err := s.WithDetails(details...); err == nil {
		s = detailed
	}
	return s.Err()
}

// finish logs a call and maps its error. Requests and replies are never logged: they hold personal data.
func finish(ctx context.Context, log *slog.Logger, method string, started time.Time, err error) error {
	mapped := toStatus(err)
	code := status.Code(mapped)
	attributes := []any{"method", method, "code", code.String(), "milliseconds", time.Since(started).Milliseconds()}
	switch code {
	case codes.Internal, codes.Unknown, codes.DataLoss:
		log.ErrorContext(ctx, "call failed", append(attributes, "error", err.Error())...)
	case codes.OK:
		log.DebugContext(ctx, "call", attributes...)
	default:
		log.InfoContext(ctx, "call refused", append(attributes, "reason", apperr.ReasonOf(err))...)
	}
	return mapped
}

func finishUnary(log *slog.Logger) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (reply any, err error) {
		started := time.Now()
		defer func() {
			if r := recover(); r != nil {
				err = panicked(log, info.FullMethod, r)
			}
			err = finish(ctx, log, info.FullMethod, started, err)
		}()
		return handle(ctx, req)
	}
}

func finishStream(log *slog.Logger) grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) (err error) {
		started := time.Now()
		defer func() {
			if r := recover(); r != nil {
				err = panicked(log, info.FullMethod, r)
			}
			err = finish(stream.Context(), log, info.FullMethod, started, err)
		}()
		return handle(srv, stream)
	}
}

func panicked(log *slog.Logger, method string, r any) error {
	log.Error("call panicked", "method", method, "panic", r, "stack", string(debug.Stack()))
	return status.Error(codes.Internal, "something went wrong on our side; the log has the details")
}
