package egress

import (
	"fmt"
	"net"
	"net/netip"
	"slices"
	"syscall"
)

// Addresses are where receivers may be. Without any a receiver may be wherever a name leads, but for
// addresses that no receiver has: those of the link (where clouds answer with a machine's secrets), of groups and of
// nobody.
type Addresses []netip.Prefix

// Dialer returns what makes connections to receivers. It checks the address of each connection, after its
// name was resolved: a name that leads elsewhere at the second question gains nothing.
func (l Addresses) Dialer() *net.Dialer { return &net.Dialer{Control: l.control} }

func (l Addresses) control(_, address string, _ syscall.RawConn) error {
	at, err := netip.ParseAddrPort(address)
	if err != nil {
		return fmt.Errorf("cannot tell where %q is: %w", address, err)
	}
	a := at.Addr().Unmap().WithZone("")
	if !l.allow(a) {
		return fmt.Errorf("the receiver's name leads to %s, where no receiver may be: see notify.addresses", a)
	}
	return nil
}

func (l Addresses) allow(a netip.Addr) bool {
	if len(l) > 0 {
		return slices.ContainsFunc(l, func(p netip.Prefix) bool { return p.Contains(a) })
	}
	return !a.IsLinkLocalUnicast() && !a.IsMulticast() && !a.IsUnspecified()
}
