package notify

import (
	"fmt"
	"net/url"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/explain"
)

// words puts changes of events into messages for people.
type words struct {
	site, page string
	zone       *time.Location
	renderer   evidence.Renderer
}

// mostChecks is how many checks a message names: a phone shows no more.
const mostChecks = 3

// message returns what changes say together; given may be nil.
func (w words) message(changes []Change, given *GivenUp) *Message {
	first, newest := &changes[0], &changes[len(changes)-1]
	m := &Message{
		ID: idOf(first.Event.ID, newest), Type: "event." + first.What, Site: w.site, Changes: make([]Change, len(changes)), Given: given,
	}
	level := 0
	for i := range changes {
		c := &changes[i]
		m.Changes[i] = *c
		m.Changes[i].Event = c.Event.WithText(w.renderer)
		if c.What != first.What {
			m.Type = "events"
		}
		if c.At.After(m.Time) {
			m.Time = c.At
		}
		if l := c.Event.Level(); l > level {
			level, m.Severity = l, c.Event.Severity
		}
	}
	var text strings.Builder
	if len(changes) == 1 {
		m.Title = w.title(first)
		m.Link = w.link(&first.Event)
		w.whole(&text, first)
	} else {
		m.Title = w.titleOf(changes)
		if w.page != "" {
			m.Link = w.page + "/"
		}
		for i := range changes {
			w.short(&text, &changes[i])
		}
	}
	if given != nil {
		fmt.Fprintf(&text, "%d further changes between %s and %s could not be told in time; the page has them.\n", given.Count, w.clock(given.From), w.clock(given.To))
	}
	if m.Link != "" {
		fmt.Fprintln(&text, m.Link)
	}
	m.Text = text.String()
	return m
}

// plain returns a message that is not about an event.
func (w words) plain(kind string, at time.Time, title, text string) *Message {
	m := &Message{ID: fmt.Sprintf("%s-%d", kind, at.Unix()), Type: kind, Time: at.UTC(), Site: w.site, Title: title, Text: text + "\n"}
	if w.page != "" {
		m.Link = w.page + "/"
		m.Text += m.Link + "\n"
	}
	return m
}

// idOf names a message: the same over retries, another one for each change. It
// holds no full stop, which separates an id from what else is signed.
func idOf(event string, newest *Change) string {
	id := fmt.Sprintf("%s-%d", event, newest.Number)
	if newest.What == repeated {
		id += fmt.Sprintf("-r%d", newest.At.Unix())
	}
	return strings.ReplaceAll(id, ".", "_")
}

func (w words) link(ev *alert.Event) string {
	if w.page == "" {
		return ""
	}
	return w.page + "/events/" + url.PathEscape(ev.ID)
}

func (w words) clock(t time.Time) string { return t.In(w.zone).Format("Mon 2 Jan 15:04") }

// changeWords stand before the title of an event.
var changeWords = map[string]string{
	"opened": "", "escalated": "Worse: ", "closed": "Over: ", "withdrawn": "", repeated: "Still open: ", missed: "Was open: ",
}

func (w words) title(c *Change) string {
	e := explain.Of(c.Event, w.renderer)
	return changeWords[c.What] + e.Title // a withdrawn event's title says so itself
}

// titleOf counts what several changes are.
func (w words) titleOf(changes []Change) string {
	missedAll, worst := true, &changes[0].Event
	for i := range changes {
		missedAll = missedAll && changes[i].What == missed
		if changes[i].Event.Level() > worst.Level() {
			worst = &changes[i].Event
		}
	}
	if missedAll {
		return fmt.Sprintf("%d events that were open meanwhile, at site %s", len(changes), w.site)
	}
	return fmt.Sprintf("%d changes of events at site %s, among them: %s", len(changes), w.site, explain.Of(*worst, w.renderer).Title)
}

// times says when an event was open.
func (w words) times(c *Change) string {
	ev := &c.Event
	if ev.Closed == nil {
		return fmt.Sprintf("Open since %s.", w.clock(ev.Opened))
	}
	return fmt.Sprintf("Was open from %s to %s, %s.", w.clock(ev.Opened), w.clock(*ev.Closed), units.Span(ev.Closed.Sub(ev.Opened)))
}

// whole writes all that a person on the way needs of one event.
func (w words) whole(b *strings.Builder, c *Change) {
	e := explain.Of(c.Event, w.renderer)
	fmt.Fprintln(b, w.times(c))
	if e.Withdrawn != "" {
		fmt.Fprintf(b, "It is withdrawn, for it was not true: %s\n", e.Withdrawn)
		return
	}
	if len(e.Evidence) > 0 {
		fmt.Fprintln(b, e.Evidence[0])
	}
	for _, f := range e.Facts {
		fmt.Fprintf(b, "%s: %s\n", f.Name, f.Text)
	}
	if len(e.Circuits) > 0 {
		fmt.Fprintf(b, "Likely circuit: %s (%.0f %%)\n", e.Circuits[0].Code, 100*e.Circuits[0].Score)
	}
	if len(e.Causes) > 0 {
		fmt.Fprintf(b, "Likely cause: %s\n", e.Verdict)
	}
	if c.Event.Closed != nil {
		return
	}
	for i, check := range e.Checks[:min(mostChecks, len(e.Checks))] {
		fmt.Fprintf(b, "Check %d: %s\n", i+1, check.Do)
	}
	if len(e.Checks) > 0 {
		fmt.Fprintln(b, e.Cautions)
	}
}

// short writes one event of several.
func (w words) short(b *strings.Builder, c *Change) {
	e := explain.Of(c.Event, w.renderer)
	fmt.Fprintf(b, "- %s%s. %s", changeWords[c.What], e.Title, w.times(c))
	switch {
	case e.Withdrawn != "":
		fmt.Fprintf(b, " %s", e.Withdrawn)
	case len(e.Circuits) > 0:
		fmt.Fprintf(b, " Likely circuit: %s.", e.Circuits[0].Code)
	}
	if link := w.link(&c.Event); link != "" {
		fmt.Fprintf(b, " %s", link)
	}
	b.WriteString("\n")
}
