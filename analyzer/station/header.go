package station

import "strings"

// DefaultHeader is the header of a station whose plate names none: most sites have one.
const DefaultHeader = "main"

// headerMark begins the station part of a header's key. Identifiers of stations hold no
// colon, so that no station has such a key.
const headerMark = "header:"

// HeaderKey names a header of a site, for the alarms that belong to it and to no single
// station; "" means DefaultHeader.
func HeaderKey(site, header string) Key {
	if header == "" {
		header = DefaultHeader
	}
	return Key{Site: site, Station: headerMark + header}
}

// wholeSite is the station part of a site's own key.
const wholeSite = "site:all"

// SiteKey names a site as a whole, for the finding that belongs to all its stations. It is
// handled as the key of one more header.
func SiteKey(site string) Key { return Key{Site: site, Station: wholeSite} }

// WholeSite reports whether the key stands for a site as a whole.
func (k Key) WholeSite() bool { return k.Station == wholeSite }

// Header returns the name of the header that the key stands for, false if it is a station's.
func (k Key) Header() (string, bool) {
	if k.WholeSite() {
		return "of the whole site", true
	}
	return strings.CutPrefix(k.Station, headerMark)
}

// HeaderKey names the header that the station hangs on.
func (p *Plate) HeaderKey() Key { return HeaderKey(p.Key.Site, p.Header) }
