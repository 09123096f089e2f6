package config

import (
	"path/filepath"
	"testing"
)

func TestGoodFilesParse(t *testing.T) {
	files, err := filepath.Glob("testdata/good/*.toml")
	if err != nil || len(files) == 0 {
		t.Fatal("no good files", err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			c, err := Load(file)
			if err != nil {
				t.Fatal(err)
			}
			for _, w := range c.Warnings {
				t.Log("warning:", w)
			}
		})
	}
}
