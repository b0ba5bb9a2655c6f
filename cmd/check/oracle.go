package main

import (
	"fmt"
	"os"
	"os/exec"
	"runtime"
)

// The general-purpose reference libraries that the tests compare with: the Visualization
// Toolkit (vtk.org), the Computational Geometry Algorithms Library (cgal.org) and R (r-project.org).
const (
	vtkPackage  = "python3-vtk9"
	cgalPackage = "libcgal-dev"
	pdfPackage  = "poppler-utils" // pdftotext reads what the sheet says
	rPackage    = "r-base-core"
	ucdPackage  = "unicode-data" // the Unicode Character Database, with the test cases of its annexes
)

// installOracles gets the reference libraries by Debian's package manager. Without them the
// tests that need them are skipped, so it only says so where it cannot.
func installOracles() result {
	if haveVTK() && haveCGAL() && havePDF() && haveR() && haveUnicode() {
		return pass()
	}
	apt, err := exec.LookPath("apt-get")
	if err != nil || os.Geteuid() != 0 || runtime.GOOS != "linux" {
		fmt.Println("no reference libraries and no way to install them: the tests that need them will be left out")
		return pass()
	}
	for _, args := range [][]string{{"update", "-q"}, {"install", "-y", "-q", "--no-install-recommends", vtkPackage, cgalPackage, pdfPackage, rPackage, ucdPackage, "g++"}} {
		c := exec.Command(apt, args...)
		c.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
		if out, err := c.CombinedOutput(); err != nil {
			fmt.Printf("%s\nno reference libraries (apt-get %s: %v): the tests that need them will be left out\n", out, args[0], err)
			return pass()
		}
	}
	return pass()
}

// debianPython is the one that Debian's packages install into; another may come first in PATH.
const debianPython = "/usr/bin/python3"

func haveVTK() bool { return exec.Command(debianPython, "-c", "import vtk").Run() == nil }

func havePDF() bool {
	_, err := exec.LookPath("pdftotext")
	return err == nil
}

func haveUnicode() bool {
	_, err := os.Stat("/usr/share/unicode/BidiCharacterTest.txt")
	return err == nil
}

func haveR() bool {
	_, err := exec.LookPath("Rscript")
	return err == nil
}

func haveCGAL() bool {
	if _, err := exec.LookPath("g++"); err != nil {
		return false
	}
	_, err := os.Stat("/usr/include/CGAL/AABB_tree.h")
	return err == nil
}
