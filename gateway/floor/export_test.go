package floor

import "millwarden/gateway/web"

// Books are what the page asks, for tests without a page.
func (f *Floor) Books() web.Books { return books{f} }
