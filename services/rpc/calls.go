package rpc

import (
	"context"
	"fmt"
	"log/slog"
	"regexp"
	"runtime/debug"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/tap"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
)

// requestIDHeader carries the name of a call in both directions. A caller may choose it; else we do.
const requestIDHeader = "x-request-id"

// leastTime is what a call needs left to be worth beginning.
const leastTime = 100 * time.Millisecond

// goodRequestID is what we take from a caller: nothing in it can break a log line.
var goodRequestID = regexp.MustCompile(`^[A-Za-z0-9._-]{8,64}$`)

type requestIDKey struct{}

// RequestID returns the name of the call that ctx belongs to, as logs and replies carry it; empty outside of a call.
func RequestID(ctx context.Context) string {
	id, _ := ctx.Value(requestIDKey{}).(string)
	return id
}

// chooseRequestID takes the caller's name for a call where it is well formed, and makes one where it is not.
func chooseRequestID(offered []string) string {
	if len(offered) == 1 && goodRequestID.MatchString(offered[0]) {
		return offered[0]
	}
	return ids.NewMint()().String()
}

// withRequestID names the call, and tells the name to the caller with send.
func withRequestID(ctx context.Context, send func(metadata.MD) error) context.Context {
	md, _ := metadata.FromIncomingContext(ctx)
	id := chooseRequestID(md.Get(requestIDHeader))
	_ = send(metadata.Pairs(requestIDHeader, id)) // fails only when the caller is gone
	return context.WithValue(ctx, requestIDKey{}, id)
}

// enoughTime refuses work that could not be done before the caller gives up.
func enoughTime(ctx context.Context) error {
	deadline, ok := ctx.Deadline()
	if !ok || time.Until(deadline) >= leastTime {
		return nil
	}
	return withDetails(codes.DeadlineExceeded, fmt.Sprintf("This call has less than %d ms left; allow it more time.", leastTime.Milliseconds()),
		reason("DEADLINE_TOO_SHORT"))
}

// tapToken turns callers without a known token away before their message is read, which may be large.
func tapToken(log *slog.Logger, tokens *Tokens) tap.ServerInHandle {
	return func(ctx context.Context, info *tap.Info) (context.Context, error) {
		if isOpen(info.FullMethodName) {
			return ctx, nil
		}
		if _, err := tokens.callerOf(info.Header.Get("authorization")); err != nil {
			log.InfoContext(ctx, "call refused", "method", info.FullMethodName, "code", codes.Unauthenticated.String(), "reason", apperr.ReasonOf(err))
			return ctx, toStatus(err)
		}
		return ctx, nil
	}
}

// finish logs a call and maps its error. Requests, replies and callers' names are never logged: they are personal data.
func finish(ctx context.Context, log *slog.Logger, method string, started time.Time, err error) error {
	mapped := toStatus(err)
	code := status.Code(mapped)
	attributes := []any{"method", method, "request", RequestID(ctx), "code", code.String(), "milliseconds", time.Since(started).Milliseconds()}
	switch code {
	case codes.Internal, codes.Unknown, codes.DataLoss:
		log.ErrorContext(ctx, "call failed", append(attributes, "error", err.Error())...)
	case codes.OK:
		log.DebugContext(ctx, "call", attributes...)
	default:
		log.InfoContext(ctx, "call refused", append(attributes, "reason", reasonOf(mapped))...)
	}
	return mapped
}

// recovered turns a panic into an error that only the log sees in full.
func recovered(r any) error {
	return fmt.Errorf("panic: %v\n%s", r, debug.Stack())
}

func finishUnary(log *slog.Logger) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (reply any, err error) {
		started := time.Now()
		ctx = withRequestID(ctx, func(md metadata.MD) error { return grpc.SetHeader(ctx, md) })
		defer func() {
			if r := recover(); r != nil {
				err = recovered(r)
			}
			if err = finish(ctx, log, info.FullMethod, started, err); err != nil {
				reply = nil
			}
		}()
		if err := enoughTime(ctx); err != nil {
			return nil, err
		}
		return handle(ctx, req)
	}
}

func finishStream(log *slog.Logger) grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) (err error) {
		started := time.Now()
		ctx := withRequestID(stream.Context(), stream.SetHeader)
		defer func() {
			if r := recover(); r != nil {
				err = recovered(r)
			}
			err = finish(ctx, log, info.FullMethod, started, err)
		}()
		if err := enoughTime(ctx); err != nil {
			return err
		}
		return handle(srv, &streamWithContext{ServerStream: stream, ctx: ctx})
	}
}
