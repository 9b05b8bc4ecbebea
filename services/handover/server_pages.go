package handover

import (
	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/rpc"
)

// Pages are the owner's page and the calendar entry to download, behind addresses that are secrets themselves. Reading them changes nothing,
// so that programs which look at links in mail confirm nothing.
func (s *Server) Pages(*grpc.ClientConn) []rpc.Page {
	return []rpc.Page{
		{Pattern: "GET " + pagePrefix + "{token}", Open: true, Serve: s.servePage},
		{Pattern: "GET " + pagePrefix + "{token}/{file}", Open: true, Serve: s.serveCalendar},
		{Pattern: "POST " + pagePrefix + "{token}", Open: true, Serve: s.serveAnswer},
	}
}
