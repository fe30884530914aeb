package dependencies

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"strokewise/rules/notify/egress"
)

// Reach reports whether a database of vulnerabilities, in the form of the Go project's, can be read: at an http or
// https address, or at file:// a copy of it. The error says what to do where it cannot.
func Reach(ctx context.Context, at string) error {
	const index = "index/db.json"
	u, err := url.Parse(at)
	if err == nil && u.Scheme == "file" {
		_, err = os.Stat(filepath.Join(filepath.FromSlash(u.Path), filepath.FromSlash(index)))
	} else if err == nil {
		err = answers(ctx, u.JoinPath(index).String())
	}
	if err != nil {
		return fmt.Errorf("the database of vulnerabilities cannot be read at %s: %w; nothing was checked. Run it where that address can be reached, or unpack the database's vulndb.zip from there and run "+
			"make vulnerabilities VULNDB=file:///the/folder", at, err)
	}
	return nil
}

func answers(ctx context.Context, at string) error {
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodHead, at, nil)
	if err != nil {
		return err
	}
	r.Close = true
	res, err := egress.New(egress.Options{}).Do(r)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("it answers %s", res.Status)
	}
	return nil
}
