package setup

import (
	"bytes"
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"

	"github.com/longlead/longlead/services/console/frame"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
)

// template gives an empty list to fill in.
func template(v *frame.Visit) error {
	got, err := exchangev1.NewExchangeServiceClient(v.Conn).ReadTemplate(v.Context(), &exchangev1.ReadTemplateRequest{Kind: v.Path("kind"), Format: v.Query("format")})
	if err != nil {
		return unknown(err)
	}
	return send(v, got.GetName(), got.GetContent())
}

// export gives the records of a kind, or a workbook of all.
func export(v *frame.Visit) error {
	req := &exchangev1.ExportRequest{Format: v.Query("format")}
	if kind := v.Path("kind"); kind != "" {
		req.Kinds = []string{kind}
	} else {
		req.Format = "xlsx"
	}
	stream, err := exchangev1.NewExchangeServiceClient(v.Conn).Export(v.Context(), req)
	if err != nil {
		return err
	}
	var (
		name string
		all  bytes.Buffer
	)
	for {
		piece, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return send(v, name, all.Bytes())
		}
		if err != nil {
			return err
		}
		name = piece.GetName()
		all.Write(piece.GetContent())
	}
}

// send answers with a file to keep.
func send(v *frame.Visit, name string, content []byte) error {
	h := v.Writer().Header()
	h.Set("Content-Type", "text/csv; charset=utf-8")
	if strings.HasSuffix(name, ".xlsx") {
		h.Set("Content-Type", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
	}
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	v.Writer().WriteHeader(http.StatusOK)
	_, _ = v.Writer().Write(content) // the browser may be gone; nobody is there to be told
	return nil
}
