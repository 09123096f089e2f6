package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"dewgap/analyze/cause"
	"dewgap/cmd/dewgap/internal/commissioning"
)

// Text writes the record for a terminal.
func Text(w io.Writer, r *commissioning.Record) error {
	t := newText(r.View, w)
	t.head(r)
	for i := range r.Cycles {
		t.cycle(&r.Cycles[i])
	}
	t.tail(r)
	return t.w.Flush()
}

type text struct {
	words
	w *bufio.Writer
}

func newText(view commissioning.View, w io.Writer) *text {
	return &text{words{view}, bufio.NewWriter(w)}
}

// columns returns a writer that sets cells apart by tabs under each other.
func (t *text) columns() *tabwriter.Writer { return tabwriter.NewWriter(t.w, 0, 4, 2, ' ', 0) }

func (t *text) line(format string, args ...any) { fmt.Fprintf(t.w, format+"\n", args...) }

func (t *text) title(s string) { t.line("\n%s\n%s", s, strings.Repeat("-", len([]rune(s)))) }

func (t *text) head(r *commissioning.Record) {
	t.line("COMMISSIONING RECORD OF DEFROST CYCLES: %s", strings.ToUpper(r.Verdict.Words()))
	if r.Simulated {
		t.line("SIMULATED: NO REAL PLANT")
	}
	t.line("site %s, %s to %s, %d rows", r.Site, t.view.Stamp(r.From), t.view.Stamp(r.To), r.Rows)
	for _, why := range r.Reasons {
		t.line("  - %s", why)
	}
	t.title("Groups")
	for _, g := range r.Groups {
		t.line("%s: %s, floor %s, in pulldown %s", g.Name, g.Refrigerant, t.kelvin(&g.Steady), t.kelvin(&g.Pulldown))
		t.line("  equalised check: %s; %s", outcomes[g.Equalised.Outcome], g.Equalised.Text)
	}
	t.line("uncertainty of the superheat (k = 2) in steady running:")
	for _, s := range r.Sensors {
		t.line("  %s.%s: ± %s from %s", s.Group, s.Compressor, t.kelvin(s.Expanded), parts(s))
	}
	t.line("  %s", assumedMeans)
	t.line("compared with a gauge:")
	for _, c := range r.Compared {
		t.line("  %s: gauge %s, read %s, %s", c.Input, c.Gauge, c.Read, strings.TrimSuffix(c.On+", by "+c.By, ", by "))
	}
	if len(r.NeverCompared) > 0 {
		t.line("  never compared: %s", strings.Join(r.NeverCompared, ", "))
	}
	t.title("Circuits")
	table := t.columns()
	fmt.Fprintln(table, "circuit\tdefrost\tcycles\tpassed in a row\tverdict")
	for _, c := range r.Circuits {
		fmt.Fprintf(table, "%s.%s\t%s\t%d\t%d of %d\t%s\n", c.Group, c.Name, defrostName(c.Defrost), c.Cycles, c.Passed, c.Needed, strings.Join(append([]string{c.Verdict.Words()}, c.Reasons...), ": "))
	}
	table.Flush()
	t.title("Criteria")
	for _, rule := range r.Criteria {
		only := ""
		if rule.RemarkOnly {
			only = " (a remark if not met)"
		}
		t.line("%-12s %s%s", rule.Criterion, rule.Text, only)
	}
}

func (t *text) cycle(c *commissioning.Cycle) {
	t.title(fmt.Sprintf("%s.%s, cycle %d, %s: %s", c.Group, c.Circuit, c.Number, defrostName(c.Defrost), strings.ToUpper(c.Verdict.Words())))
	for _, why := range c.Reasons {
		t.line("  - %s", why)
	}
	table := t.columns()
	for _, s := range t.course(c) {
		fmt.Fprintf(table, "  %s\t%s\t%s\t%s\n", s.At, s.What, s.Lasted, s.Note)
	}
	table.Flush()
	if len(c.Together) > 0 {
		t.line("  within 5 min of it came back: %s", strings.Join(c.Together, ", "))
	}
	fmt.Fprintln(table, "  compressor\tlowest superheat\tat\tphase\tlowest margin\tbelow floor\trunning\tverdict")
	for i := range c.Compressors {
		m := &c.Compressors[i]
		fmt.Fprintf(table, "  %s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", m.Name, t.lowest(m), t.clock(m.LowestAt), m.LowestPhase, t.kelvin(m.Margin),
			commissioning.Length(&m.Below), commissioning.Length(&m.Running), m.Verdict.Words())
	}
	table.Flush()
	t.checks("circuit", c.Checks)
	for i := range c.Compressors {
		t.checks(c.Compressors[i].Name, c.Compressors[i].Checks)
	}
	t.likely("likely circuit", c.Liquid, func(s string) string { return s })
	t.likely("likely cause", c.Causes, cause.Words)
	for _, f := range t.onSite(c) {
		t.line("  found on site: %s", f)
	}
	if len(c.Next) > 0 {
		t.line("  %s", cause.Cautions)
	}
	for i, next := range c.Next {
		if i == 0 {
			t.line("  check next, in this order:")
		}
		t.line("    %d. %s", i+1, next.Do)
		t.line("       for it: %s", next.Confirms)
		t.line("       against it: %s", next.Clears)
		if next.Caution != "" {
			t.line("       caution: %s", next.Caution)
		}
	}
}

// checks writes what was not simply met; the others by name.
func (t *text) checks(of string, checks []commissioning.Check) {
	var met []string
	for _, c := range checks {
		if c.Outcome == commissioning.Met {
			met = append(met, strings.TrimSpace(c.Criterion+" "+c.Short(t.view)))
			continue
		}
		t.line("  %-8s %-12s %s: %s", of, outcomes[c.Outcome], c.Criterion, c.Text)
	}
	if len(met) > 0 {
		t.line("  %-8s %-12s %s", of, outcomes[commissioning.Met], strings.Join(met, ", "))
	}
}

func (t *text) likely(what string, list []commissioning.Likely, name func(string) string) {
	for _, l := range list {
		t.line("  %s: %s (%s) %s", what, name(l.Name), share(l.Score), strings.Join(l.Why, "; "))
	}
}

func (t *text) tail(r *commissioning.Record) {
	t.title("By hand")
	for _, what := range byHand {
		t.line("  [ ] %s", what)
	}
	t.title("Cautions")
	for _, what := range cautions {
		t.line("  %s", what)
	}
	t.title("Signatures")
	for _, role := range signers {
		t.line("  %s: name ____________________  date __________  signature ____________________", role)
	}
	t.title("This record")
	t.line("%s", scope)
	t.line("dewgap %s", r.Dewgap)
	for _, f := range append([]commissioning.File{r.Config}, r.Data...) {
		t.line("%s  sha256 %s", f.Name, f.SHA256)
	}
}

// signers sign the record.
var signers = []string{"Commissioning technician", "Owner's representative", "Witness"}
