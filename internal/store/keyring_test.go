package store

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bedsaid/internal/review"
)

// keyFormat is the form of a record's key file.
func keyFormat(t *testing.T, dir string) string {
	t.Helper()
	k, fromCopy, err := readKeys(dir)
	ok(t, err)
	if fromCopy {
		t.Error("the key file is damaged")
	}
	return k.Format
}

func TestKeyringOpensAndSignsNothing(t *testing.T) {
	x, key := fresh(t)
	dir := x.s.dir
	n, err := x.SaveDraft(bg, encounter(t, x).ID, "", draft())
	ok(t, err)
	_, err = x.AddUser(bg, NewUser{Login: "sam", Name: "Sam Sample", Role: review.Student}, second)
	ok(t, err)
	if _, trusted, err := KeyringTrusted(dir, "anna"); err != nil || trusted || keyFormat(t, dir) != keysFormat {
		t.Errorf("trusted before anybody asked: %v", err)
	}
	secret, err := x.TrustKeyring(bg)
	ok(t, err)
	record, trusted, err := KeyringTrusted(dir, "anna")
	ok(t, err)
	if !trusted || record == "" || keyFormat(t, dir) != keysFormat2 {
		t.Errorf("%q, %v", record, trusted)
	}
	if _, trusted, _ := KeyringTrusted(dir, "sam"); trusted {
		t.Error("another user is trusted with it")
	}
	ok(t, x.Close())

	for login, s := range map[string]KeyringSecret{"anna": secret + "0", "sam": secret, "": secret} {
		_, err := OpenByKeyring(bg, dir, login, s, options())
		is(t, err, ErrWrongPassphrase)
	}
	_, err = OpenByKeyring(bg, dir, "anna", passphrase, options()) // a passphrase is no secret of a keyring
	is(t, err, ErrWrongPassphrase)
	_, err = Open(bg, dir, "anna", secret.Reveal(), options()) // nor the other way round
	is(t, err, ErrWrongPassphrase)

	y, err := OpenByKeyring(bg, dir, "anna", secret, options())
	ok(t, err)
	for i, d := range []review.Decision{{Kind: review.Accept, Line: "f1"}, {Kind: review.Reject, Line: "f2"}} {
		_, err := y.Decide(bg, n.ID, i, d)
		ok(t, err)
	}
	_, err = y.Sign(bg, n.ID, 2, review.Decision{Kind: review.Sign}, Signing{secret.Reveal(), wristband})
	is(t, err, ErrWrongPassphrase)
	_, err = y.Sign(bg, n.ID, 2, review.Decision{Kind: review.Sign}, Signing{passphrase, wristband})
	ok(t, err)
	told := ""
	ok(t, y.Log(bg, func(e Event) error {
		if e.Act == ActKeyringOn || e.Act == ActSignedIn && strings.Contains(e.Detail, byKeyring) {
			told += string(e.Act) + " "
		}
		return nil
	}))
	if told != "keyring_trusted signed_in " {
		t.Errorf("the log tells %q", told)
	}

	// A backup is opened by what a person knows.
	file := filepath.Join(t.TempDir(), "backup")
	_, err = y.Backup(bg, file)
	ok(t, err)
	to := filepath.Join(t.TempDir(), "restored")
	_, err = Restore(bg, file, to, Unlocking{Login: "anna", Passphrase: passphrase}, options())
	ok(t, err)
	_, err = OpenByKeyring(bg, to, "anna", secret, options())
	is(t, err, ErrWrongPassphrase)

	// The secret is in no file.
	for _, root := range []string{filepath.Dir(dir), filepath.Dir(file)} {
		ok(t, filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			data, err := os.ReadFile(p)
			if bytes.Contains(data, []byte(secret)) {
				t.Errorf("the secret stands in %s", filepath.Base(p))
			}
			return err
		}))
	}
	if s := fmt.Sprintf("%v %#v %s", secret, secret, y); strings.Contains(s, secret.Reveal()) {
		t.Error("the secret prints itself")
	}

	// A second trust, the end of it, a new passphrase and the recovery key each
	// end what was kept before.
	ends := func(what string, s KeyringSecret) {
		t.Helper()
		if _, err := OpenByKeyring(bg, dir, "anna", s, options()); err == nil {
			t.Errorf("%s did not end it", what)
		}
	}
	fresh, err := y.TrustKeyring(bg)
	ok(t, err)
	ends("a second trust", secret)
	ok(t, y.DistrustKeyring(bg))
	ends("the end of trust", fresh)
	if got := keyFormat(t, dir); got != keysFormat {
		t.Errorf("the form stays %s", got)
	}
	fresh, err = y.TrustKeyring(bg)
	ok(t, err)
	ok(t, y.ChangePassphrase(bg, passphrase, second))
	ends("a new passphrase", fresh)
	fresh, err = y.TrustKeyring(bg)
	ok(t, err)
	ok(t, y.Close())
	z, err := Recover(bg, dir, key, "anna", passphrase, options())
	ok(t, err)
	ends("the recovery key", fresh)
	if p := problems(t, z); len(p) > 0 {
		t.Errorf("%v", p)
	}
	ok(t, z.Close())
}

func TestRetiringEndsTheKeyring(t *testing.T) {
	x, _ := fresh(t)
	sam, err := x.AddUser(bg, NewUser{Login: "sam", Name: "Sam Sample", Role: review.Student}, second)
	ok(t, err)
	s, err := Open(bg, x.s.dir, "sam", second, options())
	ok(t, err)
	secret, err := s.TrustKeyring(bg)
	ok(t, err)
	ok(t, s.Close())
	ok(t, x.RetireUser(bg, sam.ID))
	_, err = OpenByKeyring(bg, x.s.dir, "sam", secret, options())
	is(t, err, ErrWrongPassphrase)
}

func TestSignatureNamesCredentials(t *testing.T) {
	x, _ := fresh(t)
	u, err := x.AddUser(bg, NewUser{Login: "kim", Name: "Kim Sample", Role: review.Examiner}, second)
	ok(t, err)
	kim, err := x.s.SignIn(bg, "kim", second)
	ok(t, err)
	n, err := kim.SaveDraft(bg, encounter(t, kim).ID, "", draft())
	ok(t, err)
	for i, d := range []review.Decision{{Kind: review.Accept, Line: "f1"}, {Kind: review.Reject, Line: "f2"}} {
		_, err := kim.Decide(bg, n.ID, i, d)
		ok(t, err)
	}
	_, err = kim.Sign(bg, n.ID, 2, review.Decision{Kind: review.Sign}, Signing{second, wristband})
	is(t, err, errNoCredentials)
	_, err = kim.ChangeUser(bg, u.ID, "Kim Sample", "RN")
	is(t, err, ErrRole)
	changed, err := x.ChangeUser(bg, u.ID, "Kim Sample-Other", " RN ")
	ok(t, err)
	if changed.Credentials != "RN" || changed.Login != "kim" || changed.Role != review.Examiner {
		t.Errorf("%v", changed.Credentials)
	}
	kim, err = x.s.SignIn(bg, "kim", second)
	ok(t, err)
	_, err = kim.Sign(bg, n.ID, 2, review.Decision{Kind: review.Sign}, Signing{second, wristband})
	ok(t, err)
	got, err := x.Note(bg, n.ID)
	ok(t, err)
	if s := got.Versions()[0].Signatures[0]; s.By.Credentials != "RN" || s.By.Name != "Kim Sample-Other" {
		t.Errorf("signed by %q", s.By.Name)
	}
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("%v", p)
	}
}
