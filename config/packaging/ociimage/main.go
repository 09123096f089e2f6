// Command ociimage writes an image for containers as a tar in the OCI image
// layout: one layer on nothing, for every kind of machine that it is given.
// The same input gives the same bytes.
//
//	ociimage -version V -epoch SECONDS -licenses FILE -out TAR PLATFORM=BINARY…
package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
)

func main() {
	var im image
	flag.StringVar(&im.version, "version", "", "version of the program")
	epoch := flag.Int64("epoch", 0, "time of every file, in seconds since 1970")
	licenses := flag.String("licenses", "", "file with the licences of all that is in the program")
	out := flag.String("out", "", "tar to write")
	flag.Parse()
	im.time = time.Unix(*epoch, 0).UTC()
	if err := run(im, *licenses, *out, flag.Args()); err != nil {
		fmt.Fprintln(os.Stderr, "ociimage:", err)
		os.Exit(1)
	}
}

func run(im image, licenses, out string, args []string) error {
	if im.version == "" || licenses == "" || out == "" || len(args) == 0 {
		return errors.New("needs -version, -licenses, -out, and at least one PLATFORM=BINARY")
	}
	var err error
	if im.licenses, err = os.ReadFile(licenses); err != nil {
		return err
	}
	for _, arg := range args {
		name, file, ok := strings.Cut(arg, "=")
		p, known := platforms[name]
		if !ok || !known {
			return fmt.Errorf("%q: write PLATFORM=BINARY, with amd64, arm64, armv7, armv6, mips, mipsle or riscv64", arg)
		}
		content, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		im.programs = append(im.programs, program{p, content})
	}
	f, err := os.Create(out)
	if err != nil {
		return err
	}
	return errors.Join(im.write(f), f.Close())
}

// platform is a kind of machine as the OCI image index names it (GOOS, GOARCH
// and the variant of ARM).
type platform struct {
	Architecture string `json:"architecture"`
	OS           string `json:"os"`
	Variant      string `json:"variant,omitempty"`
}

var platforms = map[string]platform{
	"amd64": {"amd64", "linux", ""}, "arm64": {"arm64", "linux", "v8"},
	"armv7": {"arm", "linux", "v7"}, "armv6": {"arm", "linux", "v6"},
	"mips": {"mips", "linux", ""}, "mipsle": {"mipsle", "linux", ""}, "riscv64": {"riscv64", "linux", ""},
}

type program struct {
	platform platform
	content  []byte
}

type image struct {
	version  string
	time     time.Time
	licenses []byte
	programs []program
}

// Media types of the OCI image specification 1.0.
const (
	typeIndex    = "application/vnd.oci.image.index.v1+json"
	typeManifest = "application/vnd.oci.image.manifest.v1+json"
	typeConfig   = "application/vnd.oci.image.config.v1+json"
	typeLayer    = "application/vnd.oci.image.layer.v1.tar+gzip"
)

type descriptor struct {
	MediaType   string            `json:"mediaType"`
	Digest      string            `json:"digest"`
	Size        int               `json:"size"`
	Platform    *platform         `json:"platform,omitempty"`
	Annotations map[string]string `json:"annotations,omitempty"`
}

// user is the daemon's, as a number: the image has no tools to look it up.
const user = 65532

// entry is a file or, when its name ends in a slash, a directory.
type entry struct {
	name    string
	mode    int64
	owner   int
	content []byte
}

// pack writes a tar whose bytes depend on its entries and the time alone.
func pack(w io.Writer, at time.Time, entries []entry) error {
	t := tar.NewWriter(w)
	for _, e := range entries {
		h := &tar.Header{Name: e.name, Mode: e.mode, Uid: e.owner, Gid: e.owner, Size: int64(len(e.content)), ModTime: at, Format: tar.FormatUSTAR, Typeflag: tar.TypeReg}
		if strings.HasSuffix(e.name, "/") {
			h.Typeflag = tar.TypeDir
		}
		if err := t.WriteHeader(h); err != nil {
			return err
		}
		if _, err := t.Write(e.content); err != nil {
			return err
		}
	}
	return t.Close()
}

func digest(b []byte) string {
	sum := sha256.Sum256(b)
	return "sha256:" + hex.EncodeToString(sum[:])
}

// blobs are the contents of a layout by digest, in order of adding.
type blobs struct {
	entries []entry
	known   map[string]bool
}

func (b *blobs) add(mediaType string, content []byte) descriptor {
	d := descriptor{MediaType: mediaType, Digest: digest(content), Size: len(content)}
	if !b.known[d.Digest] {
		b.known[d.Digest] = true
		b.entries = append(b.entries, entry{"blobs/sha256/" + strings.TrimPrefix(d.Digest, "sha256:"), 0o644, 0, content})
	}
	return d
}

func (b *blobs) addJSON(mediaType string, value any) (descriptor, error) {
	content, err := json.Marshal(value)
	if err != nil {
		return descriptor{}, err
	}
	return b.add(mediaType, content), nil
}

// write writes the layout: one manifest for each program, and an index of them.
func (im *image) write(w io.Writer) error {
	store := &blobs{known: map[string]bool{}}
	type index struct {
		SchemaVersion int          `json:"schemaVersion"`
		MediaType     string       `json:"mediaType"`
		Manifests     []descriptor `json:"manifests"`
	}
	machines := index{SchemaVersion: 2, MediaType: typeIndex}
	for _, p := range im.programs {
		d, err := im.manifest(store, p)
		if err != nil {
			return err
		}
		machines.Manifests = append(machines.Manifests, d)
	}
	all, err := store.addJSON(typeIndex, machines)
	if err != nil {
		return err
	}
	// A tag knows no plus sign.
	all.Annotations = map[string]string{"org.opencontainers.image.ref.name": strings.ReplaceAll(im.version, "+", "-")}
	top, err := json.Marshal(index{SchemaVersion: 2, MediaType: typeIndex, Manifests: []descriptor{all}})
	if err != nil {
		return err
	}
	entries := []entry{
		{"oci-layout", 0o644, 0, []byte(`{"imageLayoutVersion":"1.0.0"}`)},
		{"index.json", 0o644, 0, top},
		{"blobs/", 0o755, 0, nil}, {"blobs/sha256/", 0o755, 0, nil},
	}
	return pack(w, im.time, append(entries, store.entries...))
}

// layer returns the file system of an image, packed, and the digest of its tar.
func (im *image) layer(p program) (packed []byte, plain string, err error) {
	var layer bytes.Buffer
	if err := pack(&layer, im.time, []entry{
		{"etc/", 0o755, 0, nil}, {"etc/dewgap/", 0o755, 0, nil},
		{"etc/passwd", 0o644, 0, fmt.Appendf(nil, "dewgap:x:%d:%d::/var/lib/dewgap:/sbin/nologin\n", user, user)},
		{"etc/group", 0o644, 0, fmt.Appendf(nil, "dewgap:x:%d:\n", user)},
		{"tmp/", 0o1777, 0, nil},
		{"usr/", 0o755, 0, nil}, {"usr/bin/", 0o755, 0, nil}, {"usr/bin/dewgap", 0o755, 0, p.content},
		{"usr/share/", 0o755, 0, nil}, {"usr/share/doc/", 0o755, 0, nil}, {"usr/share/doc/dewgap/", 0o755, 0, nil},
		{"usr/share/doc/dewgap/LICENSES.txt", 0o644, 0, im.licenses},
		{"var/", 0o755, 0, nil}, {"var/lib/", 0o755, 0, nil}, {"var/lib/dewgap/", 0o750, user, nil},
	}); err != nil {
		return nil, "", err
	}
	var out bytes.Buffer
	z, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		return nil, "", err
	}
	_, err = z.Write(layer.Bytes())
	err = errors.Join(err, z.Close())
	return out.Bytes(), digest(layer.Bytes()), err
}

func (im *image) manifest(store *blobs, p program) (descriptor, error) {
	packed, plain, err := im.layer(p)
	if err != nil {
		return descriptor{}, err
	}
	type run struct {
		User       string
		Env        []string
		Entrypoint []string
		Cmd        []string
		Volumes    map[string]struct{}
		WorkingDir string
		StopSignal string
		Labels     map[string]string
	}
	labels := map[string]string{"org.opencontainers.image.title": "dewgap", "org.opencontainers.image.version": im.version, "org.opencontainers.image.licenses": "MIT"}
	config, err := store.addJSON(typeConfig, struct {
		Created string `json:"created"`
		platform
		Config run `json:"config"`
		RootFS any `json:"rootfs"`
		// History has one entry for each layer.
		History []map[string]string `json:"history"`
	}{
		im.time.Format(time.RFC3339), p.platform,
		run{
			User: fmt.Sprintf("%d:%d", user, user), Env: []string{"PATH=/usr/bin", "GOMEMLIMIT=192MiB"},
			Entrypoint: []string{"/usr/bin/dewgap"}, Cmd: []string{"run", "--config", "/etc/dewgap/site.toml"},
			Volumes: map[string]struct{}{"/var/lib/dewgap": {}}, WorkingDir: "/var/lib/dewgap", StopSignal: "SIGTERM", Labels: labels,
		},
		map[string]any{"type": "layers", "diff_ids": []string{plain}},
		[]map[string]string{{"created": im.time.Format(time.RFC3339), "created_by": "ociimage"}},
	})
	if err != nil {
		return descriptor{}, err
	}
	d, err := store.addJSON(typeManifest, struct {
		SchemaVersion int          `json:"schemaVersion"`
		MediaType     string       `json:"mediaType"`
		Config        descriptor   `json:"config"`
		Layers        []descriptor `json:"layers"`
	}{2, typeManifest, config, []descriptor{store.add(typeLayer, packed)}})
	d.Platform = &p.platform
	return d, err
}
