package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// files reads a tar into memory.
func files(t *testing.T, r io.Reader) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	for in := tar.NewReader(r); ; {
		h, err := in.Next()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		if h.Uname != "" || !h.ModTime.Equal(time.Unix(1700000000, 0)) {
			t.Errorf("%s holds a trace of its machine: user %q, time %v", h.Name, h.Uname, h.ModTime)
		}
		if all[h.Name], err = io.ReadAll(in); err != nil {
			t.Fatal(err)
		}
	}
}

func sum(b []byte) string { s := sha256.Sum256(b); return hex.EncodeToString(s[:]) }

// Every reference from the index down to the files of a layer is checked, by the
// OCI image specification 1.0: media types, sizes, digests, diff_ids.
func TestLayout(t *testing.T) {
	dir := t.TempDir()
	for name, content := range map[string]string{"a": "program of a", "b": "program of b", "licenses": "text"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write := func(out string) []byte {
		im := image{version: "1.2.3+x", time: time.Unix(1700000000, 0).UTC()}
		out = filepath.Join(dir, out)
		if err := run(im, filepath.Join(dir, "licenses"), out, []string{"amd64=" + filepath.Join(dir, "a"), "armv7=" + filepath.Join(dir, "b")}); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	archive := write("1.tar")
	if !bytes.Equal(archive, write("2.tar")) {
		t.Error("the same input gives other bytes")
	}
	layout := files(t, bytes.NewReader(archive))
	if string(layout["oci-layout"]) != `{"imageLayoutVersion":"1.0.0"}` {
		t.Errorf("oci-layout: %s", layout["oci-layout"])
	}
	type index struct{ Manifests []descriptor }
	blob := func(d descriptor, mediaType string) []byte {
		content, there := layout["blobs/"+strings.Replace(d.Digest, ":", "/", 1)]
		if !there || "sha256:"+sum(content) != d.Digest || len(content) != d.Size || d.MediaType != mediaType {
			t.Fatalf("%+v points at %d bytes with %s", d, len(content), sum(content))
		}
		return content
	}
	parse := func(content []byte, into any) {
		if err := json.Unmarshal(content, into); err != nil {
			t.Fatal(err)
		}
	}
	var top, machines index
	parse(layout["index.json"], &top)
	parse(blob(top.Manifests[0], typeIndex), &machines)
	if len(machines.Manifests) != 2 || machines.Manifests[1].Platform.Variant != "v7" || top.Manifests[0].Annotations["org.opencontainers.image.ref.name"] != "1.2.3-x" {
		t.Fatalf("index %+v of %+v", machines, top)
	}
	for i, want := range []string{"program of a", "program of b"} {
		var m struct {
			Config descriptor
			Layers []descriptor
		}
		parse(blob(machines.Manifests[i], typeManifest), &m)
		var c struct {
			OS, Architecture string
			Config           struct{ User string }
			RootFS           struct {
				DiffIDs []string `json:"diff_ids"`
			}
		}
		parse(blob(m.Config, typeConfig), &c)
		z, err := gzip.NewReader(bytes.NewReader(blob(m.Layers[0], typeLayer)))
		if err != nil {
			t.Fatal(err)
		}
		plain, err := io.ReadAll(z)
		if err != nil {
			t.Fatal(err)
		}
		if len(c.RootFS.DiffIDs) != 1 || c.RootFS.DiffIDs[0] != "sha256:"+sum(plain) || c.OS != "linux" || c.Config.User == "" {
			t.Errorf("configuration %+v, layer %s", c, sum(plain))
		}
		if inside := files(t, bytes.NewReader(plain)); string(inside["usr/bin/dewgap"]) != want || string(inside["usr/share/doc/dewgap/LICENSES.txt"]) != "text" {
			t.Errorf("layer holds %v", inside)
		}
	}
}

func TestWrongUse(t *testing.T) {
	file := filepath.Join(t.TempDir(), "x")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{nil, {"amd64"}, {"pdp11=" + file}, {"amd64=" + file + ".none"}} {
		if err := run(image{version: "1"}, file, file+".tar", args); err == nil {
			t.Errorf("%v: no error", args)
		}
	}
}
