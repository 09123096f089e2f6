package main

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"dewgap/alert"
)

type foundCmd struct {
	daemonAt `embed:""`
	Cause    string `required:"" placeholder:"CAUSE" help:"What was the matter: a cause as events name it, sensor_misplaced, or none."`
	Circuit  string `placeholder:"NAME" help:"The circuit that it was at."`
	Note     string `placeholder:"TEXT" help:"What was seen and done."`
	ID       string `arg:"" name:"event-id" help:"The event's id; its beginning or end will do where that is clear."`
}

func (foundCmd) Help() string {
	return "Records what was really the matter once somebody has looked, through the running daemon. It outlives the event and stands beside what dewgap said in page, explanation and reports. A second one replaces the first. Causes: " + strings.Join(alert.FoundCauses(), ", ") + "."
}

func (v *foundCmd) Run(ctx context.Context, con console) error {
	c, err := v.client()
	if err != nil {
		return err
	}
	defer c.close()
	ev, err := c.event(ctx, v.ID)
	if err != nil {
		return err
	}
	ask := map[string]string{"by": v.who(), "cause": v.Cause, "circuit": v.Circuit, "note": v.Note}
	if err := c.call(ctx, http.MethodPost, "/api/v1/events/"+url.PathEscape(ev.ID)+"/found", ask, &ev); err != nil {
		return err
	}
	said := "no cause"
	if len(ev.Causes) > 0 {
		said = ev.Causes[0].Cause
	}
	if len(ev.Circuits) > 0 {
		said += " at " + ev.Circuits[0].Name
	}
	found := v.Cause
	if v.Circuit != "" {
		found += " at " + v.Circuit
	}
	fmt.Fprintf(con.Out, "%s\n  said:  %s\n  found: %s\n", ev.ID, said, found)
	return nil
}
