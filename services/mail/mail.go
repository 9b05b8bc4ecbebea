// Package mail sends letters to owners, by e-mail. A letter is put in the transaction that is the reason for it: it exists exactly when that
// commits, and from then on it is not lost, whatever dies.
//
// # The life of a letter
//
//	waiting -> sending -> sent -> bounced
//	   |          |-> waiting   put off: refused for now, or nobody answered
//	   |          `-> refused   the server will not have it, or it was put off too often
//	   |-> superseded           a newer letter about the same thing was put before this one went
//	   |-> expired              it could not be sent in time
//	   `-> refused              its address is none
//
// A letter is known by (key, kind, version): putting it again changes nothing. A higher version of the same key supersedes whatever has not
// gone, and a cancellation supersedes all that has not gone. Its words are made when it is put, from the template of the school or the one
// built in, and are kept; the bytes that a server took are kept as well.
//
// # What can repeat
//
// A worker marks a letter, sends it, and marks it again. When it dies between the server's "250" and the second mark, or the connection breaks
// before the "250" arrives, nobody can tell whether the letter went: it is sent again, with the same Message-ID, by which most programs show
// it once (RFC 5321 section 4.5.3.2.6 and RFC 5322 section 3.6.4 are about both). Nothing else repeats, and nothing is lost.
//
// # When it goes
//
// Not before its time, not in the quiet hours of the owner's clock, and not faster than letters to one domain may go; but rather than let it
// expire in quiet hours, it is sent in them. The folder of a demo disturbs nobody, and takes letters at any hour.
//
// kinds.go says which letters there are and which fields each may use, template.go what a template may hold, markup.go how one text becomes the
// text part and the HTML part, itip.go the calendar part, compose.go the message, put.go the outbox, job.go the worker, sender*.go where letters
// go, bounce.go what comes back.
package mail

import (
	"fmt"
	"time"

	"github.com/longlead/longlead/services/ids"
)

// Address is whom a letter comes from or goes to.
type Address struct {
	// Name is as people write it; it may be empty.
	Name string
	// Addr is the address, such as freya@example.org.
	Addr string
}

// Letter is what a caller wants to tell an owner. All fields but Event, NotBefore, Expires and Lists are required.
type Letter struct {
	Kind Kind
	// Key names what the letter is about, such as the ID of an appointment. Letters of one key follow one another.
	Key string
	// Version rises with each change of that thing. Letters of one version and different kinds stand beside each other.
	Version int
	To      Address
	// Zone is the IANA zone of the owner's clock, for quiet hours.
	Zone string
	// Fields and Lists fill the template; which there are depends on the kind.
	Fields map[string]string
	Lists  map[string][]string
	// Event is the calendar entry that comes with the letter; nil for none.
	Event *Event
	// NotBefore is the earliest instant of sending; the zero time means at once.
	NotBefore time.Time
	// Expires is the instant from which the letter is not worth sending; the zero time means that it always is.
	Expires time.Time
}

// Method says what a calendar program does with an event (RFC 5546 section 1.4).
type Method string

// The methods. A request enters an event, or changes the one with its UID if its sequence is higher; a cancellation removes it.
const (
	Request Method = "REQUEST"
	Cancel  Method = "CANCEL"
)

// Event is a calendar entry, as an organizer sends it to one attendee.
type Event struct {
	// UID stays the same for as long as the thing is the same.
	UID string
	// Sequence rises with each change, from 0.
	Sequence int
	Method   Method
	Begins   time.Time
	Ends     time.Time
	// Zone is the IANA zone of the place. The entry is written in UTC; the zone is named in its description.
	Zone        string
	Summary     string
	Place       string
	Description string
	// Organizer and Attendee may be left empty: the letterhead and the letter's recipient stand in.
	Organizer, Attendee Address
	// Confirmed says that the owner has agreed to the time.
	Confirmed bool
}

// State is where a letter stands.
type State string

// The states; see the package comment.
const (
	Waiting    State = "waiting"
	Sending    State = "sending"
	Sent       State = "sent"
	Superseded State = "superseded"
	Expired    State = "expired"
	Refused    State = "refused"
	Bounced    State = "bounced"
)

// Kept is a letter as it is kept.
type Kept struct {
	ID      ids.LetterID `db:"id"`
	Key     string       `db:"key"`
	Kind    Kind         `db:"kind"`
	Version int          `db:"version"`
	// Copy counts how often the letter was sent again by a person; 0 is the first.
	Copy        int        `db:"copy"`
	MessageID   string     `db:"message_id"`
	FromName    string     `db:"from_name"`
	FromAddress string     `db:"from_address"`
	ToName      string     `db:"to_name"`
	ToAddress   string     `db:"to_address"`
	Domain      string     `db:"domain"`
	Zone        string     `db:"zone"`
	Subject     string     `db:"subject"`
	BodyText    string     `db:"body_text"`
	BodyHTML    string     `db:"body_html"`
	Calendar    *string    `db:"calendar"`
	Method      *string    `db:"method"`
	PutAt       time.Time  `db:"put_at"`
	DueAt       time.Time  `db:"due_at"`
	ExpiresAt   *time.Time `db:"expires_at"`
	State       State      `db:"state"`
	// Note says why a letter is in its state, in words for the office.
	Note         string     `db:"note"`
	Attempts     int        `db:"attempts"`
	NextAt       time.Time  `db:"next_at"`
	QueuedAt     time.Time  `db:"queued_at"`
	TakenAt      *time.Time `db:"taken_at"`
	SlotAt       *time.Time `db:"slot_at"`
	DatedAt      *time.Time `db:"dated_at"`
	SupersededAt *time.Time `db:"superseded_at"`
	DoneAt       *time.Time `db:"done_at"`
}

// Attempt is what became of an attempt to send a letter, or a later report on it.
type Attempt struct {
	At      time.Time `db:"at"`
	Outcome string    `db:"outcome"`
	// Answer is what the server said.
	Answer string `db:"answer"`
}

func (k Kept) from() Address { return Address{k.FromName, k.FromAddress} }

func (k Kept) to() Address { return Address{k.ToName, k.ToAddress} }

// calendar and method are empty for a letter without an event.
func (k Kept) calendar() (content, method string) {
	if k.Calendar == nil || k.Method == nil {
		return "", ""
	}
	return *k.Calendar, *k.Method
}

// messageID makes the Message-ID of a letter, without brackets. The address of the sender gives the right-hand side, as RFC 5322 section 3.6.4 advises.
func messageID(id ids.LetterID, from string) string {
	domain := domainOf(from)
	if domain == "" {
		domain = "longlead.invalid"
	}
	return fmt.Sprintf("%s@%s", id, domain)
}
