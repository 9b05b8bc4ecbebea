package people

import (
	"crypto/sha256"
	"fmt"
	"net/netip"
	"time"

	"github.com/longlead/longlead/services/apperr"
)

// How failed sign-ins are slowed down. NIST SP 800-63B asks for at most 100 failures in a row for one account; with these waits that takes a day.
const (
	// freeForLogin and freeForSource are how many may fail before the next has to wait. Many people may share one address.
	freeForLogin, freeForSource = 5, 20
	// firstWait doubles with each further failure, up to longestWait.
	firstWait, longestWait = 2 * time.Second, 15 * time.Minute
	// forgetAfter is when failures no longer count, where none came since.
	forgetAfter = 24 * time.Hour
)

// attempts counts failures in a row, of a login or an address.
type attempts struct {
	failures   int
	last, next time.Time
}

// fail counts one more.
func (a attempts) fail(now time.Time, free int) attempts {
	if now.Sub(a.last) >= forgetAfter {
		a.failures = 0
	}
	a.failures++
	a.last, a.next = now, now.Add(wait(a.failures, free))
	return a
}

// wait is how long nothing is tried after so many failures.
func wait(failures, free int) time.Duration {
	if failures < free {
		return 0
	}
	d := firstWait
	for range failures - free {
		if d *= 2; d >= longestWait {
			return longestWait
		}
	}
	return d
}

// heldUntil says when a sign-in may be tried again.
func heldUntil(next, now time.Time) error {
	left := next.Sub(now)
	words := fmt.Sprintf("%d seconds", int(left/time.Second)+1)
	if left >= 2*time.Minute {
		words = fmt.Sprintf("%d minutes", int((left+time.Minute-1)/time.Minute))
	}
	return apperr.Unavailablef("SIGN_IN_HELD", "Too many sign-ins failed. Try again in %s; this one was not looked at.", words)
}

// loginKey and sourceKey are what failures are counted under: hashes, because people write passwords where the login belongs, and
// because an address points to a person.
func loginKey(login string) [sha256.Size]byte {
	return sha256.Sum256([]byte("login " + CleanLogin(login)))
}

func sourceKey(from string) [sha256.Size]byte {
	return sha256.Sum256([]byte("source " + network(from)))
}

// network is whoever an address belongs to: of IPv6, each household has 2^64 and more.
func network(from string) string {
	addr, err := netip.ParseAddr(from)
	if err != nil {
		if port, err := netip.ParseAddrPort(from); err == nil {
			addr = port.Addr()
		} else {
			return from
		}
	}
	addr = addr.Unmap().WithZone("")
	if addr.Is4() {
		return addr.String()
	}
	prefix, err := addr.Prefix(64)
	if err != nil {
		return addr.String()
	}
	return prefix.String()
}
