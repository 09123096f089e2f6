package mqtt

import (
	"fmt"
	"sync"
	"time"
)

const (
	// fatalMessages is how many connections may end in the middle of a topic's
	// oversized message before the topic is left out. One such end can be chance.
	fatalMessages = 2
	// leftOutFor is how long a topic is left out before it is tried once more.
	leftOutFor = time.Hour
)

// oversizeTopics keeps what is known of topics whose messages are too large: a
// slow line can break while one is dropped, again and again when it is retained.
type oversizeTopics struct {
	mu      sync.Mutex
	present string // topic of the message that is being dropped
	topics  map[string]*oversizeTopic
}

type oversizeTopic struct {
	size  int       // of the last one, in bytes
	fatal int       // connections in a row that ended in the middle of one
	again time.Time // until then the topic is left out
}

// skipping is called while a connection drops the rest of a message.
func (o *oversizeTopics) skipping(name string, size int) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.present = name
	if t := o.topics[name]; t != nil {
		t.size = size
	}
}

// skipped is called after the whole message has been dropped.
func (o *oversizeTopics) skipped() {
	o.mu.Lock()
	defer o.mu.Unlock()
	if t := o.topics[o.present]; t != nil {
		t.fatal = 0
	}
	o.present = ""
}

// ended counts the end of a connection and returns the topic that is left out
// from now on, or nothing.
func (o *oversizeTopics) ended(now time.Time) (leftOut string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	name := o.present
	o.present = ""
	t := o.topics[name]
	if t == nil {
		return ""
	}
	if t.fatal++; t.fatal < fatalMessages {
		return ""
	}
	t.again = now.Add(leftOutFor)
	return name
}

// reason describes why a topic is left out at this time, or is empty.
func (o *oversizeTopics) reason(name string, now time.Time, limit int) string {
	o.mu.Lock()
	defer o.mu.Unlock()
	t := o.topics[name]
	if t == nil || !now.Before(t.again) {
		return ""
	}
	return fmt.Sprintf("%s: a message of %d bytes ended the connection %d times, at most %d are read; the topic is left out for %s",
		tooLarge, t.size, t.fatal, limit, leftOutFor)
}

// tooLarge is the code of a message with more bytes than are read.
const tooLarge = "too-large"
