package allocation

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"unicode/utf16"
	"unicode/utf8"
)

// maxText is the longest string a file may hold, in bytes.
const maxText = 4096

// scanner reads the JSON of a problem file as a stream. A whole-file decoder would hold a large problem twice, in lists of
// lists; this one builds it directly and names the place of every mistake by line and field.
type scanner struct {
	r    *bufio.Reader
	line int
	path string // field being read, for messages
}

// newScanner reads r, unpacking it first when its first bytes are those of gzip.
func newScanner(r io.Reader) (*scanner, error) {
	br := bufio.NewReaderSize(r, 1<<16)
	if magic, err := br.Peek(2); err == nil && bytes.Equal(magic, []byte{0x1f, 0x8b}) {
		zr, err := gzip.NewReader(br)
		if err != nil {
			return nil, fmt.Errorf("%w: the gzip header is damaged: %w", ErrInvalid, err)
		}
		br = bufio.NewReaderSize(zr, 1<<16)
	}
	return &scanner{r: br, line: 1}, nil
}

// fail makes an error that says where in the file it is.
func (s *scanner) fail(format string, args ...any) error {
	where := fmt.Sprintf("line %d", s.line)
	if s.path != "" {
		where += ", " + s.path
	}
	return invalid("%s: %s", where, fmt.Sprintf(format, args...))
}

func (s *scanner) readError(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return s.fail("the file ends in the middle; it seems cut off")
	}
	if errors.Is(err, gzip.ErrChecksum) || errors.Is(err, gzip.ErrHeader) {
		return s.fail("the compressed data is damaged")
	}
	return fmt.Errorf("read the file near line %d: %w", s.line, err)
}

// next skips white space and returns the next byte without taking it.
func (s *scanner) next() (byte, error) {
	for {
		c, err := s.r.ReadByte()
		if err != nil {
			return 0, s.readError(err)
		}
		switch c {
		case '\n':
			s.line++
		case ' ', '\t', '\r':
		default:
			return c, s.r.UnreadByte()
		}
	}
}

// want takes the next byte, which must be c.
func (s *scanner) want(c byte) error {
	got, err := s.next()
	if err != nil {
		return err
	}
	if got != c {
		return s.fail("expected %q, found %q", c, got)
	}
	_, err = s.r.ReadByte()
	return err
}

// list calls item for each element of an array, until its end.
func (s *scanner) list(item func(i int) error) error {
	return s.sequence('[', ']', item)
}

// object calls field with each key of an object; field must read the value.
func (s *scanner) object(field func(key string) error) error {
	seen := map[string]bool{}
	return s.sequence('{', '}', func(int) error {
		key, err := s.text()
		if err != nil {
			return err
		}
		if seen[key] {
			return s.fail("field %q is given twice", key)
		}
		seen[key] = true
		if err := s.want(':'); err != nil {
			return err
		}
		return field(key)
	})
}

func (s *scanner) sequence(open, end byte, item func(i int) error) error {
	if err := s.want(open); err != nil {
		return err
	}
	c, err := s.next()
	if err != nil {
		return err
	}
	if c == end {
		return s.want(end)
	}
	for i := 0; ; i++ {
		if err := item(i); err != nil {
			return err
		}
		c, err := s.next()
		if err != nil {
			return err
		}
		if c == end {
			return s.want(end)
		}
		if err := s.want(','); err != nil {
			return err
		}
	}
}

// number reads an integer within plus or minus limit.
func (s *scanner) number(limit int) (int, error) {
	c, err := s.next()
	if err != nil {
		return 0, err
	}
	negative := c == '-'
	if negative {
		s.r.Discard(1) // cannot fail: the byte is in the buffer
	}
	n, digits, first := 0, 0, byte(0)
	for {
		c, err := s.r.ReadByte()
		if err != nil {
			return 0, s.readError(err)
		}
		if c < '0' || c > '9' {
			if c == '.' || c == 'e' || c == 'E' {
				return 0, s.fail("a whole number is needed, without point or exponent")
			}
			if err := s.r.UnreadByte(); err != nil {
				return 0, err
			}
			break
		}
		if digits++; digits == 1 {
			first = c
		}
		if n = n*10 + int(c-'0'); n > limit {
			return 0, s.fail("the number is too large; at most %d", limit)
		}
	}
	if digits == 0 || (digits > 1 && first == '0') {
		return 0, s.fail("expected a whole number, found %q", c)
	}
	if negative {
		n = -n
	}
	return n, nil
}

// count reads an integer from 0 to limit.
func (s *scanner) count(limit int) (int, error) {
	n, err := s.number(limit)
	if err == nil && n < 0 {
		return 0, s.fail("%d is negative; give a number from 0 to %d", n, limit)
	}
	return n, err
}

// text reads a string.
func (s *scanner) text() (string, error) {
	if err := s.want('"'); err != nil {
		return "", err
	}
	var out []byte
	for {
		c, err := s.r.ReadByte()
		if err != nil {
			return "", s.readError(err)
		}
		switch {
		case c == '"':
			if !utf8.Valid(out) {
				return "", s.fail("the text is not UTF-8")
			}
			return string(out), nil
		case c == '\\':
			r, err := s.escape()
			if err != nil {
				return "", err
			}
			out = utf8.AppendRune(out, r)
		case c < 0x20:
			return "", s.fail("a text may not contain control characters")
		default:
			out = append(out, c)
		}
		if len(out) > maxText {
			return "", s.fail("a text is longer than %d bytes", maxText)
		}
	}
}

// escape reads what follows a backslash.
func (s *scanner) escape() (rune, error) {
	c, err := s.r.ReadByte()
	if err != nil {
		return 0, s.readError(err)
	}
	switch c {
	case '"', '\\', '/':
		return rune(c), nil
	case 'b':
		return '\b', nil
	case 'f':
		return '\f', nil
	case 'n':
		return '\n', nil
	case 'r':
		return '\r', nil
	case 't':
		return '\t', nil
	case 'u':
		r, err := s.hex()
		if err != nil || !utf16.IsSurrogate(r) {
			return r, err
		}
		if next, err := s.r.Peek(2); err == nil && string(next) == `\u` {
			s.r.Discard(2) // cannot fail: just peeked
			low, err := s.hex()
			return utf16.DecodeRune(r, low), err
		}
		return utf8.RuneError, nil
	}
	return 0, s.fail("unknown escape \\%c in a text", c)
}

func (s *scanner) hex() (rune, error) {
	var r rune
	for range 4 {
		c, err := s.r.ReadByte()
		if err != nil {
			return 0, s.readError(err)
		}
		switch {
		case c >= '0' && c <= '9':
			r = r<<4 | rune(c-'0')
		case c|0x20 >= 'a' && c|0x20 <= 'f':
			r = r<<4 | rune(c|0x20-'a'+10)
		default:
			return 0, s.fail("\\u needs four hexadecimal digits")
		}
	}
	return r, nil
}

// end makes sure that nothing but white space follows, and that a compressed file is whole.
func (s *scanner) end() error {
	for {
		c, err := s.r.ReadByte()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return s.readError(err)
		case c == '\n':
			s.line++
		case c != ' ' && c != '\t' && c != '\r':
			return s.fail("there is more after the end of the problem, starting with %q", c)
		}
	}
}
