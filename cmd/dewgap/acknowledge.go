package main

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"dewgap/alert"
)

type acknowledgeCmd struct {
	daemonAt `embed:""`
	Note     string `placeholder:"TEXT" help:"What is being done about it."`
	Until    string `placeholder:"TIME" help:"How long it lasts: a time with its zone, or a length such as 4h; by default until the event ends."`
	TakeBack bool   `help:"Take an acknowledgement back."`
	ID       string `arg:"" name:"event-id" help:"The event's id; its beginning or end will do where that is clear."`
}

func (acknowledgeCmd) Help() string {
	return "Takes on an open event through the running daemon. Repeats and escalations of its notification stop. It ends with the event, with its time, and when the event escalates. Analysis, journal and exposure go on. It is kept in the journal and shown on the page and in the explanation."
}

func (v *acknowledgeCmd) Run(ctx context.Context, con console) error {
	c, err := v.client()
	if err != nil {
		return err
	}
	defer c.close()
	if !v.TakeBack && v.Note == "" {
		return usageError{fmt.Errorf("--note is missing: write what is being done about it, as in --note %q", "on my way")}
	}
	ev, err := c.event(ctx, v.ID)
	if err != nil {
		return err
	}
	path := "/api/v1/events/" + url.PathEscape(ev.ID) + "/acknowledge"
	if v.TakeBack {
		if err := c.call(ctx, http.MethodDelete, path+"?by="+url.QueryEscape(v.who()), nil, &ev); err != nil {
			return err
		}
		fmt.Fprintf(con.Out, "%s is no longer acknowledged\n", ev.ID)
		return nil
	}
	until, err := c.until(ctx, v.Until)
	if err != nil {
		return err
	}
	if err := c.call(ctx, http.MethodPost, path, map[string]string{"by": v.who(), "note": v.Note, "until": until}, &ev); err != nil {
		return err
	}
	fmt.Fprintln(con.Out, acknowledged(&ev))
	return nil
}

// acknowledged confirms an acknowledgement for a person.
func acknowledged(ev *alert.Event) string {
	text := ev.ID + " acknowledged"
	a := ev.Acknowledged
	if a == nil {
		return text
	}
	text += fmt.Sprintf(" by %s at %s", a.By, a.At.Format(time.RFC3339))
	if a.Until != nil {
		return text + ", until " + a.Until.Format(time.RFC3339)
	}
	return text + ", until it ends"
}
