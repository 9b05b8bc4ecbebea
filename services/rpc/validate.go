package rpc

import (
	"context"
	"errors"
	"fmt"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/apperr"
)

// check holds a request against the rules in its .proto file and names every field that breaks one.
func check(validator protovalidate.Validator, req any) error {
	message, ok := req.(proto.Message)
	if !ok {
		return fmt.Errorf("check a request: %T is no message", req)
	}
	err := validator.Validate(message)
	var broken *protovalidate.ValidationError
	if !errors.As(err, &broken) {
		return err
	}
	out := apperr.Invalidf("FIELD_INVALID", "The request has a field that cannot be accepted.")
	for _, v := range broken.Violations {
		out = out.With(apperr.Field{Path: protovalidate.FieldPathString(v.Proto.GetField()), Rule: v.Proto.GetMessage()})
	}
	return out
}

func validateUnary(validator protovalidate.Validator) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
		if err := check(validator, req); err != nil {
			return nil, err
		}
		return handle(ctx, req)
	}
}

func validateStream(validator protovalidate.Validator) grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
		return handle(srv, &checkedStream{ServerStream: stream, validator: validator})
	}
}

// checkedStream checks each message that a caller sends, before the method sees it.
type checkedStream struct {
	grpc.ServerStream
	validator protovalidate.Validator
}

func (s *checkedStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return check(s.validator, m)
}
