// Package manual writes the manual page and the shell completion of a program
// from the model of its command line, so that neither can differ from it.
//
// It may import the standard library and kong.
package manual

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// Man writes a page for man(1), in the man macro language of groff_man(7).
func Man(w io.Writer, app *kong.Application, version, about string) error {
	p := page{bufio.NewWriter(w)}
	p.macro("TH", strings.ToUpper(app.Name), "1", "", app.Name+" "+version, "User Commands")
	p.macro("SH", "NAME")
	p.text(app.Name + ` \- ` + escape(about))
	p.macro("SH", "SYNOPSIS")
	p.text(`\fB` + escape(app.Name) + `\fR \fICOMMAND\fR [\fIOPTIONS\fR]`)
	p.macro("SH", "DESCRIPTION")
	p.paragraphs(app.Help)
	p.macro("SH", "COMMANDS")
	for _, c := range Commands(app) {
		p.command(app.Name, c)
	}
	p.macro("SH", "EXIT STATUS")
	p.paragraphs("0: done. 1: could not be done. 2: wrong usage. Every command has --help.")
	return p.w.Flush()
}

// Commands returns the commands that can be run, in the order of the model.
func Commands(app *kong.Application) []*kong.Node {
	return app.Leaves(true)
}

// words returns a command's name, without the program's.
func words(c *kong.Node) []string {
	var w []string
	for ; c.Parent != nil; c = c.Parent {
		w = append(w, c.Name)
	}
	slices.Reverse(w)
	return w
}

type page struct{ w *bufio.Writer }

// escape keeps groff from taking text for a request or an escape.
func escape(text string) string {
	return strings.NewReplacer(`\`, `\e`, `-`, `\-`, `'`, `\(aq`, "`", `\(ga`, `^`, `\(ha`, `~`, `\(ti`).Replace(text)
}

func (p page) macro(name string, args ...string) {
	fmt.Fprintf(p.w, ".%s", name)
	for _, a := range args {
		fmt.Fprintf(p.w, ` "%s"`, strings.ReplaceAll(a, `"`, `\(dq`))
	}
	fmt.Fprintln(p.w)
}

// text writes one line that is escaped already; a dot at its begin is no request.
func (p page) text(line string) {
	if strings.HasPrefix(line, ".") {
		line = `\&` + line
	}
	fmt.Fprintln(p.w, line)
}

// paragraphs writes plain text; indented lines keep their form.
func (p page) paragraphs(text string) {
	for i, block := range strings.Split(strings.TrimSpace(text), "\n\n") {
		if i > 0 {
			p.macro("PP")
		}
		literal := false
		for line := range strings.SplitSeq(block, "\n") {
			if indented := strings.HasPrefix(line, " "); indented != literal {
				literal = indented
				p.macro(map[bool]string{true: "nf", false: "fi"}[literal])
			}
			p.text(escape(line))
		}
		if literal {
			p.macro("fi")
		}
	}
}

func (p page) command(program string, c *kong.Node) {
	p.macro("SS", escape(program+" "+strings.Join(words(c), " ")))
	// The heading names the command; a line of its own shows its arguments.
	line := `\fB` + escape(program+" "+strings.Join(words(c), " ")) + `\fR`
	for _, a := range c.Positional {
		line += ` \fI` + escape(a.Summary()) + `\fR`
	}
	p.text(line)
	p.macro("PP")
	help := c.Help
	if c.Detail != "" {
		help = c.Detail
	}
	p.paragraphs(help)
	for _, a := range c.Positional {
		p.macro("TP")
		p.text(`\fI` + escape(a.Summary()) + `\fR`)
		p.paragraphs(a.Help)
	}
	for _, f := range flags(c) {
		if f.Name == "help" {
			continue // every command has it
		}
		p.macro("TP")
		p.text(`\fB` + escape(strings.TrimSpace(f.String())) + `\fR`)
		p.paragraphs(f.Help)
	}
}

// flags returns the options of a command, those of its parents included.
func flags(c *kong.Node) []*kong.Flag {
	var all []*kong.Flag
	for _, group := range c.AllFlags(true) {
		all = append(all, group...)
	}
	return all
}

// Bash writes a completion for bash: commands, their options, the words that
// an option takes, and files for everything else.
func Bash(w io.Writer, app *kong.Application) error {
	out := bufio.NewWriter(w)
	name := app.Name
	fmt.Fprintf(out, "# bash completion for %s; made from its command line.\n_%s() {\n", name, name)
	fmt.Fprint(out, `	local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} command='' word options=''
	for word in "${COMP_WORDS[@]:1:COMP_CWORD-1}"; do
		case $word in
		-*) ;;
		*) command="${command:+$command }$word" ;;
		esac
	done
	COMPREPLY=()
	case $command in
`)
	groups := map[string][]string{}
	var order []string
	for _, c := range Commands(app) {
		name := words(c)
		for i, word := range name {
			parent := strings.Join(name[:i], " ")
			if _, known := groups[parent]; !known {
				order = append(order, parent)
			}
			if !slices.Contains(groups[parent], word) {
				groups[parent] = append(groups[parent], word)
			}
		}
	}
	// The words of a group are complete when the command is exactly that group.
	for _, parent := range order {
		fmt.Fprintf(out, "\t'%s') mapfile -t COMPREPLY < <(compgen -W '%s --help' -- \"$cur\"); return ;;\n", parent, strings.Join(groups[parent], " "))
	}
	for _, c := range Commands(app) {
		name := strings.Join(words(c), " ")
		fmt.Fprintf(out, "\t'%s' | '%s '*)\n", name, name)
		var options []string
		for _, f := range flags(c) {
			options = append(options, "--"+f.Name)
			if neg := f.Tag.Negatable; neg != "" {
				options = append(options, "--no-"+f.Name)
			}
			if f.Enum != "" {
				fmt.Fprintf(out, "\t\t[ \"$prev\" = --%s ] && { mapfile -t COMPREPLY < <(compgen -W '%s' -- \"$cur\"); return; }\n", f.Name, strings.Join(f.EnumSlice(), " "))
			}
		}
		fmt.Fprintf(out, "\t\toptions='%s' ;;\n", strings.Join(options, " "))
	}
	fmt.Fprintf(out, `	esac
	case $cur in
	-*) mapfile -t COMPREPLY < <(compgen -W "$options" -- "$cur") ;;
	esac
}
complete -o bashdefault -o default -F _%s %s
`, name, name)
	return out.Flush()
}
