package bus

import (
	"testing"
	"time"

	"millwarden/internal/clock/clocktest"
)

func TestFeed_newestOfWhatIsListenedTo(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		feed := NewFeed()
		feed.Deliver("a", []byte("before anybody listened"), false)
		a, err := feed.Listen("a")
		if err != nil {
			t.Fatal(err)
		}
		if frame, ok := a.Newest(); ok {
			t.Errorf("Newest() = %+v before any frame", frame)
		}
		feed.Deliver("a", []byte("1"), true)
		feed.Deliver("a", []byte("2"), false)
		feed.Deliver("b", []byte("3"), false)
		time.Sleep(time.Minute)
		frame, ok := a.Newest()
		if !ok || frame.Number != 2 || string(frame.Payload) != "2" || frame.Retained || frame.Ago != time.Minute {
			t.Errorf("Newest() = %+v, want the second, a minute old", frame)
		}
		second, _ := feed.Listen("a")
		if again, ok := second.Newest(); !ok || again.Number != 2 {
			t.Errorf("a second listener sees %+v, want the same frame", again)
		}
		a.Close()
		a.Close() // twice is one
		feed.Deliver("a", []byte("4"), false)
		if frame, _ := second.Newest(); frame.Number != 3 {
			t.Errorf("one of two listeners closed: the other sees %+v, want the third frame", frame)
		}
		second.Close()
		feed.Deliver("a", []byte("5"), false)
		third, _ := feed.Listen("a")
		if frame, ok := third.Newest(); ok {
			t.Errorf("all had closed: a new listener sees %+v, want nothing", frame)
		}
	})
}
