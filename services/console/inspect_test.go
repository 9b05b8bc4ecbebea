package console_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

// inspected is what a page holds: all of its words, where its links lead, and what must not be on a page.
type inspected struct {
	text   string
	links  []string
	faults []string
}

// inspect requires that a page holds no script but the console's own, nothing that runs or loads anything else, and no address that is none.
func inspect(t *testing.T, body, where string) inspected {
	t.Helper()
	page := parse(t, body)
	require.Empty(t, page.faults, where)
	return page
}

func parse(t *testing.T, body string) (page inspected) {
	t.Helper()
	root, err := html.ParseWithOptions(strings.NewReader(body), html.ParseOptionEnableScripting(false))
	require.NoError(t, err)
	var text strings.Builder
	for n := range root.Descendants() {
		switch n.Type {
		case html.TextNode:
			text.WriteString(n.Data)
		case html.ElementNode:
			page.faults = append(page.faults, wild(n)...)
			for _, a := range n.Attr {
				text.WriteString("\n" + a.Val + "\n")
				if n.Data == "a" && a.Key == "href" && strings.HasPrefix(a.Val, "/") {
					page.links = append(page.links, a.Val)
				}
			}
		}
	}
	page.text = text.String()
	return page
}

// tame is where our pages lead: within the console, to an owner's private page, to a letter, a telephone, or nowhere for the icon.
var tame = regexp.MustCompile(`^(/([^/\\].*)?|[#?].*|mailto:.*|tel:.*|https://dogs\.example\.com/.*|data:,|)$`)

// wild is what is wrong with an element.
func wild(n *html.Node) (faults []string) {
	if slices.Contains([]string{"iframe", "object", "embed", "base", "frame", "applet", "img", "math", "foreignobject"}, strings.ToLower(n.Data)) {
		faults = append(faults, "an element "+n.Data)
	}
	if n.FirstChild != nil && (n.Data == "script" || n.Data == "style" && strings.Contains(n.FirstChild.Data, "alert(")) {
		faults = append(faults, "words within an element "+n.Data)
	}
	for _, a := range n.Attr {
		switch {
		case strings.HasPrefix(a.Key, "on"), strings.HasPrefix(a.Key, "hx-on"), a.Key == "style", a.Key == "srcdoc":
			faults = append(faults, fmt.Sprintf("<%s %s=%q>", n.Data, a.Key, a.Val))
		case slices.Contains([]string{"href", "src", "action", "formaction", "data-follow", "hx-get", "hx-post", "poster", "background"}, a.Key) && !tame.MatchString(a.Val),
			(n.Data == "script" || n.Data == "link" && a.Val != "data:,") && (a.Key == "src" || a.Key == "href") && !strings.HasPrefix(a.Val, "/static/"):
			faults = append(faults, fmt.Sprintf("<%s %s> leads to %q", n.Data, a.Key, a.Val))
		}
	}
	return faults
}

// shape is a link with its hostile parts left out, so that one of each kind is followed.
func shape(link string) string {
	return regexp.MustCompile(`%3Cb%3E[^/?]*`).ReplaceAllString(link, "*")
}

func TestInspectingSeesWhatIsWrong(t *testing.T) {
	t.Parallel()
	for body, want := range map[string]int{
		`<p title="a"><a href="/dog/1">&lt;script&gt;</a>`: 0, `<script src="/static/1/console.js"></script>`: 0,
		`<script>alert(1)</script>`: 1, `<script src="//a/b.js"></script>`: 1, `<script src="/b.js"></script>`: 1, `<img src="/x">`: 1, `<p onclick="x">`: 1, `<p style="x">`: 1,
		`<a href=" javascript:alert(1)">`: 1, `<a href="java&#10;script:alert(1)">`: 1, `<a href="//a.example">`: 1, `<form action="https://a.example/">`: 1, `<noscript><iframe></iframe></noscript>`: 1,
	} {
		require.Len(t, parse(t, body).faults, want, body)
	}
	require.Equal(t, []string{"/dog/1"}, parse(t, `<a href="/dog/1">x</a>`).links)
}
