package main

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp"
)

// The order is filled in, the package downloaded, and its page opened from the disk with no network.
func TestAppFillsTheOrderAndPacks(t *testing.T) {
	base := serveApp(t)
	upper := scanFile(t, "upper-voids", "Quibbleton Zara upper.stl")
	for n, width := range []int64{1300, 390} {
		p := openApp(t, base, width, n == 1)
		if n == 0 {
			p.drop(upper, scanFile(t, "lower-canted", "lower.stl"))
			p.await("both scans", `document.querySelectorAll('.tabs a .word.correct').length === 2`)
		} else {
			p.drop(upper)
		}
		fillAndPack(t, p, fmt.Sprintf("%scase/%d", base, n+1), n == 0)
	}
}

// fillAndPack fills the order of a case, attaches a photograph, downloads the package and opens what is in it.
func fillAndPack(t *testing.T, p *tab, address string, both bool) {
	t.Helper()
	p.do("order", chromedp.Navigate(address+"/order"))
	p.await("the gaps", `document.querySelectorAll('#gaps li').length > 10`)
	p.shot("app-order", true)
	set := func(key, text string) {
		t.Helper()
		p.do(key, chromedp.SendKeys(chromedp.CSS(fmt.Sprintf(`[id=%q]`, key)), text))
	}
	set("vertical.rest_mm", "6,5")
	p.await("the error", `document.getElementById('err-vertical.rest_mm').textContent.includes('not between 20 and 150')`)
	p.click("#save")
	p.await("the refusal", `document.getElementById('saved').textContent.startsWith('Not saved') && document.activeElement.id === 'vertical.rest_mm'`)
	p.shot("app-order-wrong", false)
	value[any](p, `document.getElementById('vertical.rest_mm').value = ''; null`)
	for key, text := range map[string]string{
		"order.number": "2024-117", "clinic.name": "Clinic", "clinic.address": "1 Street", "clinic.clinician": "N. N.", "laboratory.name": "Laboratory",
		"laboratory.address": "2 Street", "impression.material": "silicone", "impression.border_material": "compound", "impression.disinfection": "10 minutes",
		"impression.posterior_seal": "none", "signature.by": "N. N.",
	} {
		set(key, text)
	}
	value[any](p, `for (const id of ['order.date', 'order.wanted', 'signature.on']) document.getElementById(id).value = '2024-03-31'; document.getElementById('order').dispatchEvent(new Event('input')); null`)
	p.await("nothing missing", `document.getElementById('sum').textContent.startsWith('Nothing is missing')`)
	p.click("#save")
	p.await("saved", `document.getElementById('saved').textContent === 'Saved.'`)
	p.do("case", chromedp.Navigate(address))
	p.await("the case", `document.querySelector('h1').textContent === 'Case 2024-117' && document.getElementById('leave').textContent.includes('Nothing is missing')`)
	photo := filepath.Join(t.TempDir(), "Quibbleton.jpg")
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 320, 240)), nil); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(photo, append([]byte("\xff\xd8\xff\xfe\x00\x0cQuibbleton"), b.Bytes()[2:]...), 0o644); err != nil {
		t.Fatal(err)
	}
	p.do("photograph", chromedp.SetUploadFiles(chromedp.CSS("#photo"), []string{photo}))
	p.await("the photograph", `(document.querySelector('.photos')?.scrollIntoView(), document.querySelector('.photos img')?.naturalWidth === 320)`)
	p.click("#sheet")
	p.await("the sheet", `document.getElementById('open-sheet') !== null`)
	p.shot("app-leave", true)

	dir := t.TempDir()
	p.do("download", chromedp.Func(func(ctx context.Context, s *chromedp.Target) error {
		_, err := cdp.Call(ctx, s, browser.SetDownloadBehavior, browser.SetDownloadBehaviorParams{Behavior: browser.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir})
		return err
	}))
	value[any](p, `document.getElementById('package').click(); null`)
	file := filepath.Join(dir, "2024-117-package.zip")
	for end := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
		if _, err := os.Stat(file); err == nil {
			break
		}
		if time.Now().After(end) {
			t.Fatal("no package came")
		}
	}
	names := unpackTo(t, file, dir)
	wanted := []string{"2024-117-sheet.pdf", "2024-117-order.toml", "2024-117-photo.jpg", "2024-117-upper.stl", "2024-117-upper/report.json", "2024-117-hashes.txt"}
	if both {
		wanted = append(wanted, "2024-117-lower.stl", "2024-117-lower/report.html")
	}
	for _, want := range wanted {
		if !slices.Contains(names, want) {
			t.Errorf("the package has no %s: %q", want, names)
		}
	}
	q := openPage(t, filepath.Join(dir, "2024-117-upper", "report.html"), 390, 844, false)
	q.click("button.finding")
}

// unpackTo unpacks a package and returns the names of its files.
func unpackTo(t *testing.T, file, dir string) (names []string) {
	t.Helper()
	z, err := zip.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		to := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(to, text, 0o644); err != nil {
			t.Fatal(err)
		}
		names = append(names, f.Name)
		if strings.Contains(strings.ToLower(string(text)), "quibbleton") {
			t.Errorf("%s names a person", f.Name)
		}
	}
	return names
}
