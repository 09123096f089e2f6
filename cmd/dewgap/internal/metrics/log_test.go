package metrics

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log"
	"net/http"
	"testing"
)

// A client that goes away in the middle of a scrape would be a line in the log for
// each metric, eighty at once.
func TestClientsThatLeaveAreNotLogged(t *testing.T) {
	for _, c := range []struct {
		err    error
		logged bool
	}{
		{context.Canceled, false},
		{fmt.Errorf("write: %w", context.Canceled), false},
		{http.ErrHandlerTimeout, false},
		{errors.New("a series twice"), true},
	} {
		var text bytes.Buffer
		clientsLeft{log.New(&text, "", 0)}.Println("error encoding and sending metric family:", c.err)
		if (text.Len() > 0) != c.logged {
			t.Errorf("%v: logged %q", c.err, &text)
		}
	}
}
