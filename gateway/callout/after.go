package callout

import (
	"net/http"
	"strconv"
	"time"
)

// RetryAfter reads seconds or a date [RFC 9110 section 10.2.3]; what is neither asks for nothing.
func RetryAfter(text string, now time.Time) time.Duration {
	const most = 24 * time.Hour
	if seconds, err := strconv.ParseUint(text, 10, 32); err == nil {
		return min(time.Duration(seconds)*time.Second, most)
	}
	if at, err := http.ParseTime(text); err == nil {
		return min(max(0, at.Sub(now)), most)
	}
	return 0
}
