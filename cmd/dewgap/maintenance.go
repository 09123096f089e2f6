package main

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"dewgap/alert"
)

type maintenanceCmd struct {
	Add  maintenanceAddCmd  `cmd:"" help:"Mute the notifications of a group or compressor while people work on it."`
	List maintenanceListCmd `cmd:"" help:"List the maintenance that is on."`
	End  maintenanceEndCmd  `cmd:"" help:"End a maintenance before its time."`
}

type maintenanceAddCmd struct {
	daemonAt `embed:""`
	Until    string `required:"" placeholder:"TIME" help:"When it ends: a time with its zone, or a length such as 4h; at most 30 days ahead."`
	Note     string `required:"" placeholder:"TEXT" help:"What is being done."`
	Place    string `arg:"" name:"group[/compressor]" help:"The group, or one of its compressors."`
}

func (maintenanceAddCmd) Help() string {
	return "Mutes notifications and nothing else: analysis, journal and exposure go on, and a machine that floods under maintenance is counted. It is shown on the page and in the metric dewgap_maintenance_until_seconds, and ends by itself."
}

func (v *maintenanceAddCmd) Run(ctx context.Context, con console) error {
	c, err := v.client()
	if err != nil {
		return err
	}
	defer c.close()
	until, err := c.until(ctx, v.Until)
	if err != nil {
		return err
	}
	group, compressor, _ := strings.Cut(v.Place, "/")
	var m alert.Maintenance
	ask := map[string]string{"group": group, "compressor": compressor, "until": until, "by": v.who(), "note": v.Note}
	if err := c.call(ctx, http.MethodPost, "/api/v1/maintenance", ask, &m); err != nil {
		return err
	}
	fmt.Fprintln(con.Out, maintenanceLine(&m))
	return nil
}

type maintenanceListCmd struct {
	daemonAt `embed:""`
	Past     bool `help:"List the newest past ones too."`
}

func (v *maintenanceListCmd) Run(ctx context.Context, con console) error {
	c, err := v.client()
	if err != nil {
		return err
	}
	defer c.close()
	list, err := c.maintenance(ctx, v.Past)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		fmt.Fprintln(con.Err, "no maintenance is on")
	}
	for i := range list {
		fmt.Fprintln(con.Out, maintenanceLine(&list[i]))
	}
	return nil
}

type maintenanceEndCmd struct {
	daemonAt `embed:""`
	ID       string `arg:"" name:"maintenance-id" help:"Its id, as list shows it; its beginning or end will do where that is clear."`
}

func (v *maintenanceEndCmd) Run(ctx context.Context, con console) error {
	c, err := v.client()
	if err != nil {
		return err
	}
	defer c.close()
	list, err := c.maintenance(ctx, false)
	if err != nil {
		return err
	}
	id := v.ID
	near := slices.DeleteFunc(list, func(m alert.Maintenance) bool {
		return !strings.HasPrefix(m.ID, id) && !strings.HasSuffix(m.ID, id)
	})
	if len(near) == 1 {
		id = near[0].ID
	}
	var m alert.Maintenance
	if err := c.call(ctx, http.MethodDelete, "/api/v1/maintenance/"+url.PathEscape(id)+"?by="+url.QueryEscape(v.who()), nil, &m); err != nil {
		return err
	}
	fmt.Fprintln(con.Out, maintenanceLine(&m))
	return nil
}

// maintenance asks for those that are on, and for past ones.
func (c *client) maintenance(ctx context.Context, past bool) ([]alert.Maintenance, error) {
	var answer struct {
		Maintenance []alert.Maintenance `json:"maintenance"`
	}
	path := "/api/v1/maintenance"
	if past {
		path += "?past=true"
	}
	err := c.call(ctx, http.MethodGet, path, nil, &answer)
	return answer.Maintenance, err
}

func maintenanceLine(m *alert.Maintenance) string {
	place := m.Group
	if m.Compressor != "" {
		place += "/" + m.Compressor
	}
	text := fmt.Sprintf("%s  %s  %s to %s  by %s: %s", m.ID, place, m.From.Format(time.RFC3339), m.Until.Format(time.RFC3339), m.By, m.Note)
	if m.EndedBy != "" {
		text += ", ended by " + m.EndedBy
	}
	return text
}
