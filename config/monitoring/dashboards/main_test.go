package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The files are what the program writes, and there is no other.
func TestFilesAreUpToDate(t *testing.T) {
	found, err := filepath.Glob("../grafana/*")
	if err != nil || len(found) != len(dashboards()) {
		t.Errorf("%d files, %d dashboards, %v", len(found), len(dashboards()), err)
	}
	for _, d := range dashboards() {
		want, err := d.encode()
		if err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(filepath.Join("../grafana", d.name+".json"))
		if err != nil || string(got) != string(want) {
			t.Errorf("%s.json differs: go generate ./config/monitoring/dashboards (%v)", d.name, err)
		}
	}
}

// A query names only metrics that the reference lists, and each chooses among
// sites by the variable of its page.
func TestQueriesNameMetricsThatExist(t *testing.T) {
	reference, err := os.ReadFile("../metrics.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range dashboards() {
		text, err := d.encode()
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range regexp.MustCompile(`\bdewgap_\w+`).FindAllString(string(text), -1) {
			if !strings.Contains(string(reference), "`"+name+"`") {
				t.Errorf("%s: no metric %s", d.name, name)
			}
		}
		for _, p := range d.panels {
			for _, q := range p.queries {
				if strings.Count(q.expr, "dewgap_") != strings.Count(q.expr, `site=~"$site"`) {
					t.Errorf("%s, %s: a metric of all sites in %s", d.name, p.title, q.expr)
				}
			}
		}
	}
}

// Panels lie inside the page and do not cover each other.
func TestPanelsFit(t *testing.T) {
	for _, d := range dashboards() {
		row := 0
		for _, p := range d.panels {
			if p.width < 1 || p.width > 24 || p.title == "" || len(p.queries) == 0 {
				t.Errorf("%s: %+v", d.name, p)
			}
			if row += p.width; row == 24 {
				row = 0
			} else if row > 24 {
				t.Errorf("%s: the row of %q is not filled", d.name, p.title)
				row = p.width
			}
		}
		if row != 0 {
			t.Errorf("%s: the last row is not filled", d.name)
		}
	}
}
